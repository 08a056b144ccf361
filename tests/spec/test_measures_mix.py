"""Measures that are neither good nor bad: probe mix and bands; and attenuation's own outcome.

Sources: bands of stage_castera2005_hcv.v1 and att_karlas2017.v1; attenuation IQR of 40 dB/m
(common practice, no source). The measures themselves are proposals of this tool.
"""

import pytest

from tests.exam_tables import definitions
from tests.spec.measure_tables import events_and_n

TABLE = """
performed  probe          technique  n_valid  stiffness_value  attenuation_value  attenuation_iqr
performed  standard       TE         10       7.0              247                20
performed  standard       TE         10       7.1              248                40
performed  large-patient  TE         10       30               400                -
performed  large-patient  TE         0        -                -                  -
performed  paediatric     TE         10       5.0              -                  -
performed  standard       pSWE       10       9.0              300                10
refused    large-patient  TE         -        -                -                  -
"""


@pytest.mark.parametrize(
    ("key", "expected"),
    [
        ("large_patient_probe", (2, 6)),
        ("stiffness_raised", (2, 4)),
        ("attenuation_raised", (2, 3)),
        ("attenuation_unreliable", (1, 2)),
    ],
)
def test_mix_measure(key: str, expected: tuple[int, int]) -> None:
    assert events_and_n(key, TABLE, stiffness_iqr=0.5) == expected


@pytest.mark.parametrize("key", ["large_patient_probe", "stiffness_raised", "attenuation_raised"])
def test_a_mix_is_neither_good_nor_bad_and_raises_no_signal(key: str) -> None:
    measure = definitions().measure_by_key(key)
    assert (measure.better, measure.is_watched) == ("neither", False)
    assert measure.is_grade == key.endswith("raised")
