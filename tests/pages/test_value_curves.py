"""Empirical distributions: steps by hand, two periods, one technique at a time, few exams none."""

import numpy as np
import polars as pl
import pytest

from dashboard.curve_figure import curve_figure
from qa.model.months import add_months
from qa.views.value_curves import FEWEST, value_curves
from tests.pages.sample_counts import LAST
from tests.pages.sample_published import sample_published

TABLE = "lsm_baveno7.v1"


def curves(values_now, values_before=()):
    """Curves of one site whose exams have these values, in the last month and a year before it."""
    values = [*values_now, *values_before]
    month = [LAST] * len(values_now) + [add_months(LAST, -12)] * len(values_before)
    one = sample_published().frame("exams").head(1)
    exams = pl.concat([one] * len(values)).with_columns(
        exam_key=pl.format("exam-{}", pl.int_range(pl.len())),
        site_id=pl.lit("S1"),
        month=pl.Series(month),
        stiffness_kpa=pl.Series(values, dtype=pl.Float64),
        stiffness_table_id=pl.lit(TABLE),
    )
    published = sample_published().with_frame("exams", exams)
    return value_curves(
        published,
        site_id="S1",
        quantity="stiffness",
        table_id=TABLE,
        edges=(10.0, 15.0),
        month=LAST,
    )


def test_curve_is_the_share_at_or_below_each_value():
    """Ten exams at 4, ten at 6, twenty at 9 kPa: 25, 50 and 100 %."""
    (found,) = curves([4.0] * 10 + [6.0] * 10 + [9.0] * 20)
    (now,) = found.curves
    assert (now.values, now.shares) == ((4.0, 6.0, 9.0), (0.25, 0.5, 1.0))
    assert "40 exams" in now.label
    assert found.title == "Stiffness by TE"


def test_both_periods_are_drawn_apart_by_line_and_by_name():
    (found,) = curves(np.linspace(4, 20, 50), np.linspace(3, 12, 30))
    assert [one.is_now for one in found.curves] == [False, True]
    figure = curve_figure(found)
    assert [one["line"]["dash"] for one in figure["data"]] == ["dash", "solid"]
    assert figure["layout"]["xaxis"]["ticktext"][:2] == ["2", "3"]
    assert len({one["name"] for one in figure["data"]}) == 2
    assert [one["x0"] for one in figure["layout"]["shapes"]] == [10.0, 15.0]


@pytest.mark.parametrize(("n", "is_shown"), [(FEWEST - 1, False), (FEWEST, True)])
def test_few_exams_make_no_curve(n, is_shown):
    assert bool(curves([5.0] * n)) is is_shown
