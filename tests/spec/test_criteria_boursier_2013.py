"""boursier-2013.v1. Source: Boursier et al., Hepatology 2013 (n = 1165), abstract.

Very reliable: IQR/median of 10 % or less. Reliable: up to 30 %, or over 30 % with a median under
7.1 kPa. Poorly reliable: over 30 % with a median of 7.1 kPa or more. No count of measurements.
"""

from tests.exam_tables import exams_of, judge, read_table

TABLE = """
n_valid  stiffness_value  stiffness_iqr  class            outcome
10       10.0             1.0            very reliable    reliable
10       10.0             1.01           reliable         reliable
10       10.0             3.0            reliable         reliable
10       10.0             3.01           poorly reliable  unreliable
10       7.0              5.0            reliable         reliable
10       7.09             5.0            reliable         reliable
10       7.1              5.0            poorly reliable  unreliable
10       7.1              2.13           reliable         reliable
2        10.0             1.0            very reliable    reliable
1        4.0              -              -                not judged
-        10.0             1.0            very reliable    reliable
0        -                -              -                failed
"""


def test_boursier_classes_and_outcomes() -> None:
    rows = read_table(TABLE)
    expected = [(row.pop("class"), row.pop("outcome")) for row in rows]
    found = judge(exams_of(rows), "boursier-2013.v1")
    assert found.select("reliability_class", "outcome").rows() == expected


def test_success_rate_is_no_part_of_the_rule() -> None:
    found = judge(exams_of([{"n_valid": 10, "n_attempted": 90}]), "boursier-2013.v1")
    assert found["outcome"].item() == "reliable"
