"""survey-2017.v1. Source: NCHS, NHANES 2017-2018 LUX_J documentation and codebook, 2020.

Complete: fasted 3 hours or more, 10 or more valid measurements, IQR/median under 30 %. Partial:
one of these missed. The reason code names the first in the order fasting, count, spread.
"""

from tests.exam_tables import exams_of, judge, read_table

TABLE = """
fasting_hours  n_valid  stiffness_value  stiffness_iqr  status    reason
3              10       10.0             2.9            complete  -
2.9            10       10.0             2.9            partial   fasting
3              9        10.0             2.9            partial   too few valid
3              10       10.0             3.0            partial   spread
3              10       3.0              0.9            partial   spread
2.9            9        10.0             3.0            partial   fasting
3              9        10.0             3.0            partial   too few valid
3              0        -                -              partial   no valid measurement
12             11       24.8             7.2            complete  -
"""


def test_survey_rule_status_and_first_reason() -> None:
    rows = read_table(TABLE)
    expected = [(row.pop("status"), row.pop("reason")) for row in rows]
    found = judge(exams_of(rows), "survey-2017.v1")
    status = ["complete" if is_met else "partial" for is_met in found["is_met"]]
    first = found["reasons"].list.first().to_list()
    assert list(zip(status, first, strict=True)) == expected


def test_fasting_breach_leaves_the_outcome_and_spoils_the_verdict() -> None:
    found = judge(exams_of([{"fasting_hours": 1.0}]), "survey-2017.v1")
    assert found.select("outcome", "is_met").row(0) == ("reliable", False)


def test_unknown_fasting_is_no_pass() -> None:
    found = judge(exams_of([{"fasting_hours": None}]), "survey-2017.v1")
    assert found.select("outcome", "is_met").row(0) == ("reliable", False)
    assert found["reasons"].to_list() == [["figure missing"]]
