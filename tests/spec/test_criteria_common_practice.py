"""common-practice.v1. Source: common practice, no source (the issue's part 5 and domain notes).

Ten valid measurements make an exam; IQR/median of 30 % and attenuation IQR of 40 dB/m are no
longer acceptable; fasting of two hours or more is asked for and does not change the verdict.
"""

import pytest

from tests.exam_tables import exams_of, judge, read_table

TE = """
n_valid  stiffness_value  stiffness_iqr  outcome     reasons
10       9.2              1.05           reliable    -
9        9.2              1.05           incomplete  too few valid
1        9.2              1.05           incomplete  too few valid
0        -                -              failed      no valid measurement
10       10.0             2.99           reliable    -
10       10.0             3.0            unreliable  spread
10       5.0              1.5            unreliable  spread
10       8.1              2.43           unreliable  spread
10       10.0             3.01           unreliable  spread
9        10.0             3.01           incomplete  too few valid, spread
25       10.0             0.0            reliable    -
"""

PSWE_AND_2D_SWE = """
technique  n_valid  stiffness_unit  stiffness_value  stiffness_iqr  outcome
pSWE       10       kPa             6.0              1.79           reliable
pSWE       9        kPa             6.0              0.5            incomplete
pSWE       10       m/s             1.4              0.20           reliable
pSWE       10       m/s             1.4              0.21           unreliable
2D-SWE     5        kPa             6.0              1.79           reliable
2D-SWE     4        kPa             6.0              0.5            incomplete
2D-SWE     5        kPa             6.0              1.8            unreliable
2D-SWE     5        m/s             2.0              0.3            unreliable
2D-SWE     5        m/s             2.0              0.29           reliable
"""

ATTENUATION = """
technique  attenuation_value  attenuation_iqr  outcome
TE         220                39.9             reliable
TE         220                40               unreliable
TE         220                40.1             unreliable
TE         220                -                not judged
TE         -                  -                not measured
2D-SWE     220                10               not judged
"""

FASTING = """
fasting_hours  fasting       outcome
2              kept          reliable
1.9            breach        reliable
-              not recorded  reliable
"""


def test_te_count_and_spread() -> None:
    rows = read_table(TE)
    expected = [(row.pop("outcome"), row.pop("reasons")) for row in rows]
    found = judge(exams_of(rows))
    seen = [
        (outcome, ", ".join(reasons) or None)
        for outcome, reasons in zip(found["outcome"], found["reasons"].to_list(), strict=True)
    ]
    assert seen == expected


def test_pswe_and_2d_swe_count_and_spread_in_the_unit_measured() -> None:
    rows = read_table(PSWE_AND_2D_SWE)
    expected = [row.pop("outcome") for row in rows]
    assert judge(exams_of(rows))["outcome"].to_list() == expected


def test_attenuation_iqr_below_forty() -> None:
    rows = read_table(ATTENUATION)
    expected = [row.pop("outcome") for row in rows]
    assert judge(exams_of(rows))["attenuation_outcome"].to_list() == expected


def test_fasting_is_told_apart_and_leaves_the_verdict_alone() -> None:
    rows = read_table(FASTING)
    expected = [(row.pop("fasting"), row.pop("outcome")) for row in rows]
    found = judge(exams_of(rows))
    assert found.select("fasting", "outcome").rows() == expected
    assert found["is_met"].all()
    assert found["reasons"].list.len().sum() == 0


@pytest.mark.parametrize("tenths", range(10, 200, 7))
def test_exactly_thirty_percent_is_on_the_limit_whatever_the_last_bit_says(tenths: int) -> None:
    row = {"stiffness_value": tenths / 10, "stiffness_iqr": tenths * 0.3 / 10}
    assert judge(exams_of([row]))["outcome"].item() == "unreliable"
    assert judge(exams_of([row]), "classic.v1")["outcome"].item() == "reliable"
