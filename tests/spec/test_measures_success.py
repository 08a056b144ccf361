"""Success rates, each acquisition mode for itself.

Valid of attempted below 60 % is low: Castera et al., Hepatology 2010 (its rule asks for 60 % or
more, so 60 % itself is enough). Some devices drop invalid measurements silently, so unknown
attempts are in no figure; that modes are never put together is a proposal of this tool.
"""

from datetime import date

import polars as pl
import pytest

from qa.counts import count_months
from qa.measures import measure_values
from qa.model.months import add_months
from qa.views.chart import chart_view
from tests.exam_tables import definitions, exams_of, judge, read_table
from tests.pages.sample_published import sample_published
from tests.spec.measure_tables import events_and_n

TABLE = """
performed   n_valid  n_attempted  acquisition_mode
performed   6        10           operator's choice
performed   5        9            operator's choice
performed   0        12           operator's choice
performed   10       -            operator's choice
performed   10       10           fixed group
performed   5        10           fixed group
performed   -        10           fixed group
performed   7        10           -
performed   3        10           -
performed   10       20           -
refused     -        -            -
"""
KEYS = ("low_success_chosen", "low_success_fixed", "low_success_unstated")


@pytest.mark.parametrize(
    ("key", "expected"),
    [
        ("low_success_chosen", (2, 3)),
        ("low_success_fixed", (1, 2)),
        ("low_success_unstated", (2, 3)),
    ],
)
def test_success_rate_counts_one_mode_only(key: str, expected: tuple[int, int]) -> None:
    assert events_and_n(key, TABLE) == expected


@pytest.mark.parametrize(
    ("valid", "attempted", "is_low"), [(59, 100, 1), (60, 100, 0), (61, 100, 0), (3, 5, 0)]
)
def test_success_rate_of_60_percent_is_enough(valid: int, attempted: int, is_low: int) -> None:
    row = f"n_valid  n_attempted\n{valid}  {attempted}"
    assert events_and_n("low_success_unstated", row) == (is_low, 1)


@pytest.mark.parametrize("unit_kind", ["network", "site", "operator"])
def test_another_mode_moves_no_success_rate_of_any_unit(unit_kind: str) -> None:
    """Nor a baseline, nor a funnel, which are made of these values."""
    chosen = [row for row in read_table(TABLE) if row["acquisition_mode"] == "operator's choice"]
    both, alone = (
        _values(rows, unit_kind).filter(measure_id="MSR-017")
        for rows in (read_table(TABLE), chosen)
    )
    assert both.height == 1
    assert both.equals(alone)


def _values(rows: list[dict], unit_kind: str) -> pl.DataFrame:
    exams = exams_of(rows)
    measures = [definitions().measure_by_key(key) for key in KEYS]
    counts = count_months(exams, judge(exams))
    return measure_values(
        counts, measures=measures, unit_kind=unit_kind, home_sites={"op-1": "north"}
    )


MONTH = date(2026, 3, 1)


def test_chart_of_mixed_months_says_what_is_left_out() -> None:
    exams = exams_of(read_table(TABLE))
    counts = count_months(exams, judge(exams))
    earlier = counts.with_columns(pl.lit(add_months(MONTH, -1)).alias("month")).with_columns(
        pl.lit(0, pl.Int64).alias(f"n_{mode}_{what}_success")
        for mode in ("fixed", "unstated")
        for what in ("with", "low")
    )
    published = sample_published().with_frame("monthly_counts", pl.concat([earlier, counts]))
    place = {"unit_kind": "site", "unit_id": "north", "last_month": MONTH}
    told = chart_view(published, measure_id="MSR-017", **place).why_chart
    assert (
        "In 1 of 2 months, March 2026 the last, exams of another acquisition mode are left out, "
        "since success rates of different modes are not compared: 2 by a fixed group and 3 by a "
        "mode that was not stated." in told
    )
    assert "acquisition mode" not in chart_view(published, measure_id="MSR-001", **place).why_chart


def test_chart_of_a_mode_that_nobody_uses_is_empty_and_says_so() -> None:
    points = sample_published().frame("chart_points", unit_id="S1", measure_id="MSR-001")
    nothing = points.with_columns(
        pl.lit("MSR-018").alias("measure_id"), n=pl.lit(0, pl.Int64), n_events=pl.lit(0, pl.Int64)
    )
    published = sample_published().with_frame("chart_points", nothing)
    last = points["month"].max()
    view = chart_view(
        published, unit_kind="site", unit_id="S1", measure_id="MSR-018", last_month=last
    )
    assert (view.points, view.finding) == (
        (),
        "Low success rate, fixed group: no exams that it counts",
    )
