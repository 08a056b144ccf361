"""Counts add up: parts to the whole, partitions to the total, in any row order."""

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qa.counts import DIMENSIONS, count_grades, count_months
from qa.measures import measure_values
from qa.model.schemas import COUNT_COLUMNS, GRADE_COUNTS
from tests.exam_tables import definitions, judge
from tests.property.strategies import exam_frames, small_and_fixed

TABLES = ["stage_castera2005_hcv.v1", "lsm_sru2020_rule4.v1", "att_karlas2017.v1"]
COUNTS = [column.name for column in COUNT_COLUMNS]
PARTS = {  # tries that were started again are part of another exam
    "n_exams": ["n_performed", "n_ineligible", "n_refused", "n_not_done"],
    "n_performed": ["n_judged", "n_not_judged"],
    "n_judged": ["n_reliable", "n_unreliable", "n_incomplete", "n_failed"],
    "n_measured": ["n_reliable", "n_unreliable"],
    "n_attenuation_judged": ["n_attenuation_reliable", "n_attenuation_unreliable"],
    "n_fasting_recorded": ["n_fasting_kept", "n_fasting_breach"],
    "n_preparation_recorded": ["n_preparation_kept", "n_preparation_breach"],
}


@given(exam_frames())
@small_and_fixed
def test_parts_add_to_the_whole(exams: pl.DataFrame) -> None:
    counts = count_months(exams, judge(exams, tables=TABLES))
    assert counts.select("n_exams", "n_restarted").sum_horizontal().sum() == exams.height
    for whole, parts in PARTS.items():
        assert counts.select(pl.sum_horizontal(parts)).to_series().equals(counts[whole]), whole


@given(exam_frames())
@small_and_fixed
def test_no_numerator_exceeds_its_denominator(exams: pl.DataFrame) -> None:
    counts = count_months(exams, judge(exams, tables=TABLES))
    for measure in definitions().measures.values():
        if not {*measure.numerator, *measure.denominator} <= set(counts.columns):
            continue  # counted from the rows of files, not from exams
        over = pl.sum_horizontal(measure.numerator) > pl.sum_horizontal(measure.denominator)
        assert counts.filter(over).is_empty(), measure.id


@given(exam_frames(min_size=1), st.integers(0, 2**12))
@small_and_fixed
def test_counts_of_two_parts_add_up_exactly(exams: pl.DataFrame, mask: int) -> None:
    judged = judge(exams, tables=TABLES)
    part = pl.Series([bool(mask >> n & 1) for n in range(exams.height)])
    pieces = [exams.filter(part), exams.filter(~part)]
    months = pl.concat(count_months(piece, judged) for piece in pieces)
    grades = pl.concat(count_grades(piece, judged) for piece in pieces)
    assert summed(months, DIMENSIONS).equals(count_months(exams, judged))
    assert summed(grades, GRADE_COUNTS.key).equals(count_grades(exams, judged))


def summed(counts: pl.DataFrame, key: list[str] | tuple[str, ...]) -> pl.DataFrame:
    return counts.group_by(key).agg(pl.all().sum()).sort(key)


@given(exam_frames(), st.randoms(use_true_random=False))
@small_and_fixed
def test_row_order_is_irrelevant(exams: pl.DataFrame, random) -> None:
    order = list(range(exams.height))
    random.shuffle(order)
    mixed = exams[order]
    judged, again = judge(exams, tables=TABLES), judge(mixed, tables=TABLES)
    assert again.sort("exam_key").equals(judged.sort("exam_key"))
    assert count_months(mixed, again).equals(count_months(exams, judged))
    assert count_grades(mixed, again).equals(count_grades(exams, judged))


@given(exam_frames())
@small_and_fixed
def test_bands_add_up_to_the_graded_exams(exams: pl.DataFrame) -> None:
    judged = judge(exams, tables=TABLES)
    counts, grades = count_months(exams, judged), count_grades(exams, judged)
    for quantity in ("stiffness", "attenuation"):
        bands = grades.filter(pl.col("quantity") == quantity)
        assert bands["n_exams"].sum() == counts[f"n_{quantity}_graded"].sum()
        raised = bands.filter(pl.col("band") > 0)["n_exams"].sum()
        assert raised == counts[f"n_{quantity}_raised"].sum()


@pytest.mark.parametrize("unit_kind", ["site", "operator", "device"])
@given(exams=exam_frames())
@small_and_fixed
def test_units_add_up_to_the_network(unit_kind: str, exams: pl.DataFrame) -> None:
    counts = count_months(exams, judge(exams, tables=TABLES))
    chosen = list(definitions().measures.values())
    totals = [
        measure_values(counts, measures=chosen, unit_kind=kind, home_sites={})
        .group_by("measure_id", "criteria_id", "month")
        .agg(pl.col("n_events", "n").sum())
        .sort("measure_id", "month")
        for kind in (unit_kind, "network")
    ]
    assert totals[0].equals(totals[1])
