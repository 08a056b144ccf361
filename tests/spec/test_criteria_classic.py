"""classic.v1. Source: "usual definition" in Boursier et al., Hepatology 2013, and Castera et al.,
Hepatology 2010: ten valid, success rate of 60 %, IQR/median of 30 % or less (30 itself passes).
"""

from tests.exam_tables import exams_of, judge, read_table

TABLE = """
n_valid  n_attempted  stiffness_value  stiffness_iqr  outcome     reasons
10       10           10.0             3.0            reliable    -
10       10           5.0              1.5            reliable    -
10       10           10.0             3.01           unreliable  spread
12       20           10.0             1.0            reliable    -
10       17           10.0             1.0            unreliable  success rate
10       17           10.0             3.5            unreliable  success rate, spread
9        12           10.0             1.0            incomplete  too few valid
9        30           10.0             1.0            incomplete  too few valid, success rate
0        14           -                -              failed      no valid measurement
10       -            10.0             1.0            not judged  figure missing
"""


def test_classic_rule() -> None:
    rows = read_table(TABLE)
    expected = [(row.pop("outcome"), row.pop("reasons")) for row in rows]
    found = judge(exams_of(rows), "classic.v1")
    reasons = [", ".join(all_of_them) or None for all_of_them in found["reasons"].to_list()]
    assert list(zip(found["outcome"].to_list(), reasons, strict=True)) == expected


def test_classic_rule_asks_for_no_preparation_and_judges_no_attenuation() -> None:
    row = {"fasting_hours": 0.0, "attenuation_value": 250.0, "attenuation_iqr": 90.0}
    found = judge(exams_of([row]), "classic.v1")
    seen = found.select("preparation", "attenuation_outcome", "is_met").row(0)
    assert seen == ("kept", "not judged", True)
