"""The Operators view: funnel dots, rows in order of urgency, one operator's page."""

from datetime import date

import polars as pl
import pytest
from scipy.stats import binom

from qa.views.operators import operators_view
from tests.pages.sample_counts import LAST
from tests.pages.sample_published import sample_published


def test_operators_view_counts_who_needs_something():
    view = operators_view(sample_published(), month=LAST)
    assert view.answer == "One of thirteen operators needs something in October 2026."
    assert view.measure.key == "unreliable"


def test_operators_view_of_a_site_without_needs_says_so():
    view = operators_view(sample_published(), month=LAST, site_id="S1")
    assert view.answer == "No operator needs you in October 2026."
    assert {row.site_id for row in view.rows} == {"S1"}
    assert {dot.site_id for dot in view.funnel.dots if dot.is_own} == {"S1"}
    assert len(view.funnel.dots) == 13


def test_operators_view_funnel_equals_sums_by_hand():
    published = sample_published()
    year = published.frame("monthly_counts", operator_id="31").filter(
        pl.col("month") > date(2025, 10, 1)
    )
    view = operators_view(published, month=LAST)
    (row,) = [row for row in view.rows if row.operator_id == "31"]
    assert (row.n_events, row.n) == (year["n_unreliable"].sum(), year["n_measured"].sum())
    assert row.expected == pytest.approx(row.n * view.funnel.centre)
    assert view.rows[0].operator_id == "31"


def test_operators_view_funnel_curve_holds_the_exact_share_outside():
    """Outside the 99.8 % curve lies at most 0.1 % on each side (scipy's binomial)."""
    funnel = operators_view(sample_published(), month=LAST).funnel
    for n, upper in zip(funnel.curve_n, funnel.ucl998, strict=True):
        assert binom.sf(int(upper * n) + 1, n, funnel.centre) <= 0.001


def test_operators_view_before_all_data_says_that_nothing_is_compared():
    view = operators_view(sample_published(), month=date(2020, 1, 1))
    assert view.rows == ()
    assert view.funnel.curve_n == ()
    assert view.funnel.period_text == "No comparison is published for this month."


def test_operators_view_of_one_operator_names_what_to_look_at():
    view = operators_view(sample_published(), month=LAST, operator_id="31")
    assert view.person is not None
    assert view.person.answer.endswith("to look at: unreliable exams.")
    assert view.person.site_name == "Eider Point"
    assert all(chart.unit_id == "31" for chart in view.person.charts)


@pytest.mark.parametrize(
    ("operator_id", "ending"),
    [("11", "nothing that needs attention."), ("61", "did no exams in October 2026.")],
)
def test_operators_view_of_a_quiet_operator_says_so(operator_id, ending):
    person = operators_view(sample_published(), month=LAST, operator_id=operator_id).person
    assert person is not None
    assert person.answer.endswith(ending)
