"""Measures of the outcome, under common-practice.v1.

Source of failure (no valid measurement): Castera et al., Hepatology 2010. That exams not started
are in no rate of an operator: NCHS, NHANES 2017-2018 LUX_J documentation (ineligible and not done
stand apart). The split of denominators is a proposal of this tool.
"""

import pytest

from tests.exam_tables import definitions
from tests.spec.measure_tables import events_and_n

TABLE = """
performed   n_valid  stiffness_value  stiffness_iqr
performed   10       5.0              0.5
performed   10       5.0              0.5
performed   12       9.0              1.0
performed   10       5.0              2.0
performed   10       5.0              1.5
performed   9        5.0              0.5
performed   0        -                -
performed   10       5.0              -
ineligible  -        -                -
refused     -        -                -
not done    -        -                -
"""


@pytest.mark.parametrize(
    ("key", "expected"),
    [
        ("unreliable", (2, 5)),
        ("incomplete", (1, 7)),
        ("failed", (1, 7)),
        ("reliable", (3, 7)),
        ("not_reliable", (4, 7)),
    ],
)
def test_outcome_measure(key: str, expected: tuple[int, int]) -> None:
    assert events_and_n(key, TABLE) == expected


def test_each_poor_outcome_is_watched_once() -> None:
    watched = {one.key for one in definitions().measures.values() if one.is_watched}
    assert {"unreliable", "incomplete", "failed"} <= watched
    assert not watched & {"reliable", "not_reliable"}
