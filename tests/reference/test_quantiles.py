"""Sample quantiles by type.

Hyndman RJ, Fan Y, Am Stat 1996; 50: 361-365; figures: R quantile(type=) and numpy, 10 digits.
"""

import numpy as np
import pytest

from qa.stats.quantiles import METHODS, quantile, row_quantiles

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


@pytest.mark.parametrize(("type_no", "q1", "median", "q3"), QUARTILES)
def test_row_quantiles_equal_hyndman_and_fan(type_no, q1, median, q3):
    samples = [[*reversed(TEN_VALUES), 99.0], [99.0] * 11]
    for q, expected in ((0.25, q1), (0.5, median), (0.75, q3)):
        found = row_quantiles(samples, [10, 0], q, type=type_no)
        assert found[0] == pytest.approx(expected, abs=1e-9)
        assert np.isnan(found[1])


@pytest.mark.parametrize("type_no", METHODS)
def test_row_quantiles_equal_numpy_for_samples_of_every_size(type_no):
    rng = np.random.default_rng(20261105)
    samples = np.round(rng.gamma(5.0, 1.2, size=(60, 12)), 1)
    counts = np.arange(60) % 12 + 1
    for q in (0.0, 0.1, 0.25, 0.5, 0.75, 1.0):
        found = row_quantiles(samples, counts, q, type=type_no)
        for row, n, value in zip(samples, counts, found, strict=True):
            expected = np.quantile(row[:n], q, method=METHODS[type_no])
            assert value == pytest.approx(expected, abs=1e-12)


def test_row_quantiles_of_nothing():
    assert row_quantiles(np.empty((0, 0)), [], 0.5, type=7).size == 0
    with pytest.raises(ValueError, match="type 10"):
        row_quantiles([[1.0]], [1], 0.5, type=10)
