"""How short baselines widen limits: formulas by hand, moments by simulation (seed stated)."""

import numpy as np
import pytest
from scipy import stats

from qa.stats.estimation import (
    estimation_factor,
    moving_range_freedom,
    one_sided_tail,
    student_width,
)


def test_estimation_factor_is_the_prediction_interval():
    assert estimation_factor([50, 20, 7], [100, np.inf, 0]) == pytest.approx([1.5**0.5, 1, 1])


def test_student_width_leaves_the_same_outside():
    assert student_width(3.0, 10) == pytest.approx(stats.t.isf(stats.norm.sf(3.0), 10))
    assert student_width(3.0, np.inf) == 3.0


def test_one_sided_tail_of_three_sigma():
    assert one_sided_tail(3.0) == pytest.approx(0.0013499, abs=1e-7)


@pytest.mark.parametrize("n", [5, 12, 24])
def test_moving_range_freedom_equals_simulation(n):
    """200,000 series of normal values, seed 5."""
    x = np.random.default_rng(5).normal(size=(200_000, n))
    means = np.abs(np.diff(x)).mean(axis=1)
    assert moving_range_freedom(n) == pytest.approx(means.mean() ** 2 / (2 * means.var()), rel=0.02)


def test_moving_range_freedom_equals_the_published_variance():
    """Cryer and Ryan 1990: (0.8264 n - 1.082) / (n - 1)², recalled."""
    assert moving_range_freedom(30) == pytest.approx(29**2 / (2 * (0.8264 * 30 - 1.082)), rel=1e-3)


def test_a_widened_chart_calls_as_seldom_as_one_that_is_known():
    """3-sigma limits of p from 12 months of 60 exams: calls in 1/370 of later months, not more.

    400,000 baselines, one later month each, seed 9, share 0.3.
    """
    rng = np.random.default_rng(9)
    p, n = 0.3, 60
    base = rng.binomial(12 * n, p, size=400_000) / (12 * n)
    later = rng.binomial(n, p, size=400_000) / n
    half = 3 * np.sqrt(base * (1 - base) / n)
    plain = (np.abs(later - base) > half).mean()
    wide = (np.abs(later - base) > half * estimation_factor(n, 12 * n)).mean()
    assert wide < plain
    assert wide == pytest.approx(0.0027, abs=0.0004)
