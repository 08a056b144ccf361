"""Sample quantiles by type.

Hyndman RJ, Fan Y, Am Stat 1996; 50: 361-365; figures: R quantile(type=) and numpy, 10 digits.
"""

import pytest

from qa.stats.quantiles import quantile

TEN_VALUES = [3.1, 4.2, 4.4, 5.0, 5.3, 6.8, 7.5, 7.9, 9.4, 12.6]
TEN_READINGS_KPA = [6.1, 7.3, 7.5, 8.6, 9.0, 9.4, 9.7, 10.2, 11.4, 11.6]

QUARTILES = [
    (1, 4.4, 5.3, 7.9),
    (2, 4.4, 6.05, 7.9),
    (3, 4.2, 5.3, 7.9),
    (4, 4.3, 5.3, 7.7),
    (5, 4.4, 6.05, 7.9),
    (6, 4.35, 6.05, 8.275),
    (7, 4.55, 6.05, 7.8),
    (8, 4.38333333333, 6.05, 8.025),
    (9, 4.3875, 6.05, 7.99375),
]


@pytest.mark.parametrize(("type_no", "q1", "median", "q3"), QUARTILES)
def test_quantile_equals_hyndman_and_fan(type_no, q1, median, q3):
    found = [quantile(TEN_VALUES, q, type=type_no) for q in (0.25, 0.5, 0.75)]
    assert found == pytest.approx([q1, median, q3], abs=1e-9)


@pytest.mark.parametrize(
    ("type_no", "ratio", "is_within_rule"),
    [
        (2, 0.29347826087, True),
        (6, 0.33152173913, False),
        (7, 0.25, True),
        (8, 0.30615942029, False),
    ],
)
def test_quantile_type_decides_whether_ten_readings_keep_the_rule(type_no, ratio, is_within_rule):
    q1, median, q3 = (quantile(TEN_READINGS_KPA, q, type=type_no) for q in (0.25, 0.5, 0.75))
    assert (q3 - q1) / median == pytest.approx(ratio, abs=1e-10)
    assert ((q3 - q1) / median <= 0.30) == is_within_rule
