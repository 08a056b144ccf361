"""Last digits. Reference: terminal_digit_counts (../shared/reference; checked there with scipy)."""

import numpy as np
import pytest
from scipy.stats import chi2_contingency, chisquare

from qa.stats.digits import digit_chi_square, digits_apart, preference_index

COUNTS = (41, 8, 12, 9, 11, 35, 10, 12, 9, 13)


def test_reference_counts() -> None:
    chi2, p_value = digit_chi_square(COUNTS)
    assert (chi2, p_value) == pytest.approx((78.125, 3.806473e-13), rel=1e-6)
    assert preference_index(chi2, sum(COUNTS)) == pytest.approx(23.29237, abs=1e-5)
    assert (chi2, p_value) == pytest.approx(tuple(chisquare(COUNTS)))


def test_homogeneity_is_that_of_scipy() -> None:
    others = (30, 28, 33, 25, 31, 29, 30, 36, 27, 31)
    expected = chi2_contingency([COUNTS, others], correction=False)
    chi2, p_value = digits_apart(COUNTS, others, honest_share=0.0)
    assert (chi2, p_value) == pytest.approx((expected.statistic, expected.pvalue), abs=1e-9)


def test_skewed_values_without_preference_keep_the_level() -> None:
    """Stiffness in tenths of a kPa, log-normal: honest last digits come equally often."""
    rng = np.random.default_rng(41)
    steps = np.round(50 * rng.lognormal(0, 0.35, (2000, 400))).astype(int)
    counts = [np.bincount(one % 10, minlength=10) for one in steps]
    found = np.array([digit_chi_square(one)[1] for one in counts])
    allowed = np.array([digit_chi_square(one, honest_share=0.05)[1] for one in counts])
    for level in (0.05, 0.01):
        assert np.mean(found < level) < level + 4 * np.sqrt(level / 2000), level
        assert np.mean(allowed < level) <= np.mean(found < level)


@pytest.mark.parametrize(("rounded", "is_found"), [(0.0, False), (0.5, True)])
def test_rounding_by_hand_is_found(rounded: float, is_found: bool) -> None:
    rng = np.random.default_rng(43)
    steps = np.round(rng.normal(250, 55, 400)).astype(int)
    hit = rng.random(400) < rounded
    steps[hit] = 10 * np.round(steps[hit] / 10)
    counts = np.bincount(steps % 10, minlength=10)
    assert (digit_chi_square(counts, honest_share=0.05)[1] < 1e-4) == is_found


def test_nothing_to_look_at() -> None:
    assert digit_chi_square(np.zeros(10))[1] == 1.0
    assert preference_index(0.0, 0) == 0.0
