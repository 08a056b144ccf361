"""An operator's learning curve and own month, against counts made by hand.

Wilson's interval of 45 of 50, by hand: centre (0.9 + z²/100)/(1 + z²/50) = 0.8715, half width
0.0851 with z = 1.96, so 78.6 to 95.7 %. tests/reference holds the function against print.
"""

from datetime import date

import polars as pl
import pytest

from dashboard.learning_curve import learning_curve
from qa.model.months import add_months
from qa.views.learning import BLOCK, learning_view
from qa.views.operators import operator_view
from qa.views.own import own_view
from tests.pages.sample_counts import LAST
from tests.pages.sample_published import sample_published
from tests.pages.test_month_view import all_steady

WHO = "31"


def with_months(*months: tuple[int, int]):
    """The sample with one cell a month for the operator: judged, reliable; the last is LAST."""
    published = sample_published()
    cell = published.frame("monthly_counts", operator_id=WHO).head(1)
    first = add_months(LAST, 1 - len(months))
    rows = [
        cell.with_columns(
            month=pl.lit(add_months(first, k)),
            n_judged=pl.lit(n, pl.Int64),
            n_reliable=pl.lit(reliable, pl.Int64),
        )
        for k, (n, reliable) in enumerate(months)
    ]
    return published.with_frame("monthly_counts", pl.concat(rows))


def curve(*months: tuple[int, int]):
    return learning_view(with_months(*months), operator_id=WHO, month=LAST)


@pytest.mark.parametrize(
    ("months", "blocks"),
    [
        (((BLOCK, 45),), [(BLOCK, 45, BLOCK)]),
        (((BLOCK - 1, 40), (1, 1)), [(BLOCK, 41, BLOCK)]),
        (((BLOCK, 45), (BLOCK - 1, 40)), [(2 * BLOCK - 1, 85, 2 * BLOCK - 1)]),
        (((BLOCK, 45), (BLOCK, 40)), [(BLOCK, 45, BLOCK), (BLOCK, 40, 2 * BLOCK)]),
        (((0, 0), (3, 2)), [(3, 2, 3)]),
        (((0, 0),), []),
    ],
)
def test_months_make_a_point_once_they_hold_a_block(months, blocks):
    points = curve(*months).points
    assert [(one.n, one.n_reliable, one.n_so_far) for one in points] == blocks


def test_curve_says_better_level_or_lower_by_intervals():
    assert curve((50, 25), (50, 49)).finding.startswith("Better with practice: 98.0 %")
    assert curve((50, 49), (50, 25)).finding.startswith("Lower than before: 50.0 %")
    assert curve((50, 45), (50, 46)).finding.startswith("Level: 92.0 %")
    (point,) = curve((50, 45)).points
    assert (round(point.lower, 3), round(point.upper, 3)) == (0.786, 0.957)


def test_curve_ends_with_the_month_and_is_drawn_whole():
    view = learning_view(sample_published(), operator_id=WHO, month=date(2026, 6, 1))
    assert view.points[-1].to_month == date(2026, 6, 1)
    figure = learning_curve(view)
    assert len(figure["data"][0]["x"]) == len(view.points)
    assert view.all_share is not None
    assert any("all " in one["text"] for one in figure["layout"]["annotations"])


def test_own_month_begins_with_what_is_reliable_and_names_one_step():
    published = sample_published()
    counts = published.frame("monthly_counts", operator_id=WHO, month=LAST)
    n, k = counts["n_judged"].sum(), counts["n_reliable"].sum()
    own = own_view(published, operator_view(published, operator_id=WHO, month=LAST), month=LAST)
    assert own.answer == (
        f"{k} of your {n} exams in October 2026 are reliable. One step can make it more."
    )
    assert own.step.startswith("Work on steadiness and breath hold")
    assert own.well
    for word in ("worse", "bad", "poor", "fault"):
        assert word not in " ".join([own.answer, own.step, own.why_step, *own.well]).lower()


def test_own_month_without_an_item_says_to_go_on():
    published = all_steady(sample_published())
    own = own_view(published, operator_view(published, operator_id=WHO, month=LAST), month=LAST)
    assert own.answer.endswith("Nothing stands out.")
    assert own.step == "Nothing stands out. Keep doing what you do."
