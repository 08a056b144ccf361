"""Measures of preparation, under common-practice.v1 (fasting of two hours; common practice, no
source). "Unknown" is its own category and never counts as fasted: proposal of this tool.
"""

import pytest

from tests.spec.measure_tables import events_and_n

TABLE = """
performed   fasting_hours  fasting_stated
performed   2              -
performed   8              -
performed   1.9            -
performed   -              kept
performed   -              breach
performed   -              -
performed   -              -
ineligible  1              -
"""


@pytest.mark.parametrize(
    ("key", "expected"),
    [("preparation_recorded", (5, 7)), ("preparation_kept", (3, 5)), ("fasting_breach", (2, 5))],
)
def test_preparation_measure(key: str, expected: tuple[int, int]) -> None:
    assert events_and_n(key, TABLE) == expected
