"""count_case_mix: levels at and around each edge, and sums that are those of the monthly counts."""

import polars as pl
import pytest

from qa.case_mix.cells import count_case_mix
from qa.counts import count_months
from qa.model.case_mix_schemas import CASE_MIX_COLUMNS, CASE_MIX_COUNTS
from tests.exam_tables import day, exams_of, judge

EDGES = [
    ("bmi_kg_m2", "bmi", 24.9, "under 25"),
    ("bmi_kg_m2", "bmi", 25.0, "25 to under 30"),
    ("bmi_kg_m2", "bmi", 39.9, "35 to under 40"),
    ("bmi_kg_m2", "bmi", 40.0, "40 and over"),
    ("bmi_kg_m2", "bmi", None, "unknown"),
    ("age_years", "age", 17, "under 18"),
    ("age_years", "age", 18, "18 to 39"),
    ("age_years", "age", 52, "40 to 52"),
    ("age_years", "age", 53, "53 to 64"),
    ("age_years", "age", 65, "65 and over"),
    ("age_years", "age", None, "unknown"),
    ("indication", "indication", None, "unknown"),
    ("probe", "probe", "large-patient", "large-patient"),
]


@pytest.mark.parametrize(("column", "covariate", "value", "level"), EDGES)
def test_level_of_each_value(column: str, covariate: str, value: object, level: str) -> None:
    exams = exams_of([{column: value}])
    [row] = count_case_mix(exams, judge(exams)).to_dicts()
    assert row[covariate] == level


def test_sums_are_those_of_the_monthly_counts() -> None:
    rows = [
        {"bmi_kg_m2": 22.0},
        {"bmi_kg_m2": 22.5, "stiffness_iqr": 4.0},
        {"bmi_kg_m2": 41.0, "n_valid": 4, "probe": "large-patient"},
        {"n_valid": 0, "stiffness_value": None},
        {"performed": "refused", "n_valid": None, "stiffness_value": None},
    ]
    exams = exams_of(rows)
    found, counts = count_case_mix(exams, judge(exams)), count_months(exams, judge(exams))
    assert found.schema == CASE_MIX_COUNTS.to_polars()
    sums = pl.col(CASE_MIX_COLUMNS).sum()
    assert found.select(sums).row(0) == counts.select(sums).row(0)
    assert found.filter(bmi="under 25").select("n_measured", "n_unreliable").row(0) == (2, 1)


def test_an_exam_called_back_and_a_planned_one_are_occasions_of_their_own() -> None:
    rows = [
        {"patient_key": "p", "stiffness_iqr": 4.0, "exam_on": day(1)},
        {"patient_key": "p", "order_type": "recall", "exam_on": day(20)},
        {"patient_key": "q", "order_type": "follow-up", "exam_on": day(2)},
    ]
    exams = exams_of(rows)
    found = count_case_mix(exams, judge(exams)).group_by("occasion").agg(pl.col("n_judged").sum())
    assert dict(found.iter_rows()) == {"first": 1, "again": 1, "planned": 1}


def test_no_exams_give_an_empty_frame() -> None:
    exams = exams_of([{}]).clear()
    assert count_case_mix(exams, judge(exams_of([{}])).clear()).equals(CASE_MIX_COUNTS.empty())
