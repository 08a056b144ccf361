"""The open survey's published counts through assess, counts and measures, without its file.

Source of every figure: tests/survey_figures.py. Exams are made up so that they add up to the
published counts; what is tested is the arithmetic from exams to shares and limits.
"""

from datetime import date

import polars as pl
import pytest

from qa.charts.compare import funnel_points
from qa.counts import count_months
from qa.measures import measure_values
from qa.stats.limits import p_chart_limits
from tests import survey_figures as published
from tests.exam_tables import definitions, exams_of, judge

SURVEY = "survey-2017.v1"
SPREAD = {"stiffness_iqr": 2.0}
PARTIAL = {
    "fasting": {"fasting_hours": 2.0},
    "count": {"n_valid": 9},
    "spread": SPREAD,
}


def repeated(*groups: tuple[dict, int]) -> pl.DataFrame:
    """(what differs from an ordinary exam, how many) → EXAMS."""
    return exams_of([row for row, n in groups for _ in range(n)])


def counted(exams: pl.DataFrame, by: str | None = None) -> pl.DataFrame:
    counts = count_months(exams, judge(exams, SURVEY))
    return (
        counts.group_by(by or "month").agg(pl.selectors.starts_with("n_").sum()).sort(by or "month")
    )


def test_published_parts_add_up() -> None:
    assert sum(published.STATUS.values()) == published.TOTAL
    assert published.STATUS["complete"] + published.STATUS["partial"] == published.EXAMINED
    assert sum(published.PARTIAL_BY_CODE.values()) == published.STATUS["partial"]
    technicians = published.BY_TECHNICIAN.values()
    assert sum(n for n, _ in technicians) == published.EXAMINED
    assert sum(n for _, n in technicians) == published.STATUS["partial"]
    assert sum(published.BOURSIER.values()) == published.WITH_RATIO
    assert (
        sum(n for n, _ in published.FEW_OR_WIDE_BY_TECHNICIAN.values())
        == published.FAILED + published.FEW_OR_WIDE_NOT_FAILED
    )


def test_status_and_reason_counts_come_back() -> None:
    parts = [(PARTIAL[reason], n) for reason, n in published.PARTIAL_BY_CODE.items()]
    left = [({"performed": word}, published.STATUS[word]) for word in ("ineligible", "not done")]
    row = counted(repeated(({}, published.STATUS["complete"]), *parts, *left)).row(0, named=True)
    assert row["n_exams"] == published.TOTAL
    assert row["n_performed"] == published.EXAMINED
    assert row["n_met"] == published.STATUS["complete"]
    assert row["n_fasting_breach"] == published.PARTIAL_BY_CODE["fasting"]
    assert row["n_incomplete"] == published.PARTIAL_BY_CODE["count"]
    assert row["n_unreliable"] == published.PARTIAL_BY_CODE["spread"]


def test_technician_counts_come_back() -> None:
    groups = []
    for technician, (examined, partial) in published.BY_TECHNICIAN.items():
        own = {"operator_id": technician}
        groups += [(own, examined - partial), (own | SPREAD, partial)]
    found = counted(repeated(*groups), by="operator_id")
    partial = pl.col("n_performed") - pl.col("n_met")
    seen = found.select("operator_id", "n_performed", partial.alias("n_partial")).rows()
    assert seen == [(name, *counts) for name, counts in sorted(published.BY_TECHNICIAN.items())]


def technician_values() -> pl.DataFrame:
    groups = []
    for technician, (few_or_wide, examined) in published.FEW_OR_WIDE_BY_TECHNICIAN.items():
        own = {"operator_id": technician}
        groups += [(own, examined - few_or_wide), (own | SPREAD, few_or_wide)]
    exams = repeated(*groups)
    measure = definitions().measure_by_key("not_reliable")
    counts = count_months(exams, judge(exams, SURVEY))
    return measure_values(counts, measures=[measure], unit_kind="operator", home_sites={})


def test_technicians_beyond_three_sigma_are_those_computed() -> None:
    values = technician_values()
    centre = values["n_events"].sum() / values["n"].sum()
    lcl, ucl = p_chart_limits(centre, values["n"].to_numpy())
    limits = values.with_columns(lcl=pl.Series(lcl), ucl=pl.Series(ucl))
    assert 100 * centre == pytest.approx(published.CENTRE_PERCENT, abs=0.005)
    of_g = limits.filter(unit_id="G")["ucl"].item()
    assert 100 * of_g == pytest.approx(published.UPPER_THREE_SIGMA_OF_G_PERCENT, abs=0.005)
    above = limits.filter(pl.col("value") > pl.col("ucl"))["unit_id"]
    below = limits.filter(pl.col("value") < pl.col("lcl"))["unit_id"]
    assert set(above) == published.ABOVE_THREE_SIGMA
    assert set(below) == published.BELOW_THREE_SIGMA


def test_technician_funnel_flags_those_computed() -> None:
    points = funnel_points(
        technician_values(),
        measures=[definitions().measure_by_key("not_reliable")],
        unit_kind="operator",
        to_month=date(2026, 3, 1),
        months=12,
    )
    assert set(points.filter(state="look")["unit_id"]) == published.ABOVE_THREE_SIGMA
    below = points.filter(pl.col("value") < pl.col("lcl998"))["unit_id"]
    assert set(below) == published.BELOW_THREE_SIGMA
