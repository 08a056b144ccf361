"""count_months and count_grades: what is counted in which column, by hand."""

import math

import polars as pl
import pytest

from qa.counts import count_grades, count_months
from qa.model.schemas import COUNT_COLUMNS, GRADE_COUNTS, MONTHLY_COUNTS
from tests.exam_tables import day, exams_of, judge

TABLES = ["stage_castera2005_hcv.v1", "att_karlas2017.v1"]
EXAMS = [
    {"stiffness_value": 5.0, "stiffness_iqr": 0.5, "n_attempted": 12},  # reliable
    {"stiffness_value": 8.0, "stiffness_iqr": 4.0, "probe": "large-patient"},  # unreliable
    {"stiffness_value": 5.0, "n_valid": 4, "fasting_hours": 1.0},  # incomplete
    {"stiffness_value": None, "n_valid": 0, "n_attempted": 30, "fasting_hours": None},  # failed
    {"stiffness_iqr": None},  # not judged
    {"performed": "ineligible", "n_valid": None, "stiffness_value": None},
    {"performed": "refused", "n_valid": None, "stiffness_value": None},
    {"performed": "not done", "n_valid": None, "stiffness_value": None, "probe": "large-patient"},
]


def counted(rows: list[dict], **common: object) -> dict[str, int]:
    exams = exams_of(rows, **common)
    counts = count_months(exams, judge(exams, tables=TABLES))
    return counts.select(pl.col(column.name).sum() for column in COUNT_COLUMNS).row(0, named=True)


EXPECTED = {
    "n_exams": 8,
    "n_performed": 5,
    "n_ineligible": 1,
    "n_refused": 1,
    "n_not_done": 1,
    "n_judged": 4,
    "n_reliable": 1,
    "n_unreliable": 1,
    "n_incomplete": 1,
    "n_failed": 1,
    "n_not_judged": 1,
    "n_measured": 2,
    "n_met": 1,
    "n_fasting_recorded": 4,
    "n_fasting_kept": 3,
    "n_fasting_breach": 1,
    "n_preparation_recorded": 4,
    "n_preparation_kept": 3,
    "n_preparation_breach": 1,
    "n_large_patient_probe": 1,
    "n_stiffness_graded": 4,
    "n_stiffness_raised": 1,
    "n_with_ratio": 3,
    "sum_valid": 10 + 10 + 4 + 0 + 10,
    "sum_attempted": 12 + 10 + 10 + 30 + 10,
    "n_with_attempts": 5,
}


@pytest.mark.parametrize(("column", "expected"), EXPECTED.items())
def test_count_months_counts_by_hand(column: str, expected: int) -> None:
    assert counted(EXAMS)[column] == expected


def test_count_months_sums_logarithms_of_the_spread_in_millionths() -> None:
    found = counted([{"stiffness_iqr": 0.5}, {"stiffness_iqr": 1.0}, {"stiffness_iqr": 0.0}])
    logs = [math.log(0.1), math.log(0.2)]
    assert found["n_with_ratio"] == 2
    assert found["sum_ln_ratio_micro"] == sum(round(log * 1e6) for log in logs)
    assert found["sumsq_ln_ratio_micro"] == sum(round(log**2 * 1e6) for log in logs)


def test_count_months_sums_logarithms_of_the_duration_of_performed_exams() -> None:
    rows = [{"duration_s": seconds} for seconds in (300.0, 600.0, 0.0, None)]
    rows.append({"duration_s": 300.0, "performed": "refused"})
    found = counted(rows)
    logs = [math.log(300), math.log(600)]
    assert found["n_with_duration"] == 2
    assert found["sum_ln_duration_micro"] == sum(round(log * 1e6) for log in logs)
    assert found["sumsq_ln_duration_micro"] == sum(round(log**2 * 1e6) for log in logs)


def test_count_months_attenuation_has_its_own_outcome() -> None:
    rows = [{"attenuation_value": 250.0, "attenuation_iqr": iqr} for iqr in (20.0, 40.0, None)]
    found = counted([*rows, {"attenuation_value": None}])
    names = ["judged", "reliable", "unreliable", "graded", "raised"]
    assert [found[f"n_attenuation_{name}"] for name in names] == [2, 1, 1, 3, 3]


def test_count_months_one_row_per_key_sorted() -> None:
    rows = [{"operator_id": one, "exam_on": day(n)} for one in ("b", "a") for n in (40, 3, 4)]
    exams = exams_of(rows)
    counts = count_months(exams, judge(exams))
    keys = counts.select(MONTHLY_COUNTS.key)
    assert keys.is_unique().all()
    assert keys.equals(keys.sort(MONTHLY_COUNTS.key))
    assert counts["n_exams"].to_list() == [2, 1, 2, 1]


def test_count_grades_counts_exams_in_each_band() -> None:
    exams = exams_of([{"stiffness_value": v} for v in (7.0, 7.1, 9.4, 12.5)] + [EXAMS[3]])
    grades = count_grades(exams, judge(exams, tables=TABLES))
    found = grades.select("quantity", "table_id", "band", "n_exams").rows()
    assert found == [("stiffness", TABLES[0], band, n) for band, n in ((0, 1), (1, 2), (3, 1))]


def test_counts_of_no_exams_are_empty_with_full_schema() -> None:
    exams = exams_of([{}]).clear()
    assert count_months(exams, judge(exams)).schema == MONTHLY_COUNTS.to_polars()
    assert count_grades(exams, judge(exams)).schema == GRADE_COUNTS.to_polars()


@pytest.mark.parametrize(
    ("exam", "sums"),
    [
        ({"n_valid": 10, "n_attempted": 12}, (10, 12, 1)),
        ({"n_valid": 10, "n_attempted": None}, (0, 0, 0)),
        ({"n_valid": 10, "n_attempted": 12, "acquisition_mode": "operator's choice"}, (10, 12, 1)),
        ({"n_valid": 10, "n_attempted": 10, "acquisition_mode": "fixed group"}, (0, 0, 0)),
        ({"n_valid": 10, "n_attempted": 12, "performed": "refused"}, (0, 0, 0)),
    ],
    ids=["sent", "unknown is not all valid", "chosen", "fixed_group", "not started"],
)
def test_count_months_sums_attempts_only_where_they_compare(exam: dict, sums: tuple) -> None:
    found = counted([exam])
    assert (found["sum_valid"], found["sum_attempted"], found["n_with_attempts"]) == sums
