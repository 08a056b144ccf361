"""Facts of the trade (common practice, no source): three exams that any such tool must agree on."""

import pytest

from qa.model.definitions import GradeTable
from tests.exam_tables import definitions, exams_of, judge

STIFFNESS = "stage_castera2005_hcv.v1"
ATTENUATION_TABLES = ["att_karlas2017.v1", "att_easl2021.v1"]


def exam(kpa: float, ratio: float, db_m: float, db_m_iqr: float | None) -> dict:
    return {
        "stiffness_value": kpa,
        "stiffness_iqr": kpa * ratio,
        "attenuation_value": db_m,
        "attenuation_iqr": db_m_iqr,
    }


def table(name: str) -> GradeTable:
    return definitions().grade_tables[name]


@pytest.mark.parametrize("attenuation", [*ATTENUATION_TABLES, "att_eddowes2019_youden.v1"])
def test_first_exam_reliable_in_both_stiffness_raised_attenuation_lowest(attenuation: str) -> None:
    found = judge(exams_of([exam(9.2, 0.114, 220.0, 14.0)]), tables=[STIFFNESS, attenuation])
    row = found.row(0, named=True)
    assert (row["outcome"], row["attenuation_outcome"]) == ("reliable", "reliable")
    assert row["stiffness_band"] > 0
    assert row["attenuation_band"] == 0


@pytest.mark.parametrize("attenuation", ATTENUATION_TABLES)
def test_second_exam_stiffness_not_raised_attenuation_not_lowest(attenuation: str) -> None:
    found = judge(exams_of([exam(5.8, 0.1, 280.0, None)]), tables=[STIFFNESS, attenuation])
    row = found.row(0, named=True)
    assert row["stiffness_band"] == 0
    assert row["attenuation_band"] > 0


@pytest.mark.parametrize("attenuation", [*ATTENUATION_TABLES, "att_eddowes2019_youden.v1"])
def test_third_exam_reliable_stiffness_slightly_raised_attenuation_highest(
    attenuation: str,
) -> None:
    found = judge(exams_of([exam(7.8, 0.038, 405.0, 5.0)]), tables=[STIFFNESS, attenuation])
    row = found.row(0, named=True)
    assert (row["outcome"], row["attenuation_outcome"]) == ("reliable", "reliable")
    assert row["stiffness_band"] == 1
    assert row["attenuation_band"] == len(table(attenuation).edges)


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({}, ("reliable", "reliable")),
        ({"n_valid": 9}, ("incomplete", "reliable")),
        ({"stiffness_iqr": 3.0}, ("unreliable", "reliable")),
        ({"attenuation_iqr": 40.0}, ("reliable", "unreliable")),
    ],
)
def test_ten_valid_thirty_percent_and_forty_db_m(change: dict, expected: tuple) -> None:
    found = judge(exams_of([exam(10.0, 0.2, 250.0, 39.0) | {"n_valid": 10} | change]))
    assert found.select("outcome", "attenuation_outcome").row(0) == expected
