"""Edges of the intervals; printed tables are in tests/reference."""

import numpy as np
import pytest

from qa.stats.intervals import clopper_pearson_interval, newcombe_difference, wilson_interval

INTERVALS = [wilson_interval, clopper_pearson_interval]


@pytest.mark.parametrize("interval", INTERVALS)
def test_interval_without_exams_is_nan(interval):
    lower, upper = interval([0, 1], [0, 2])
    assert np.isnan([lower[0], upper[0]]).all()
    assert np.isfinite([lower[1], upper[1]]).all()


@pytest.mark.parametrize("interval", INTERVALS)
def test_interval_of_no_rows_is_empty(interval):
    lower, upper = interval([], [])
    assert lower.shape == upper.shape == (0,)


@pytest.mark.parametrize("interval", INTERVALS)
@pytest.mark.parametrize(("n_events", "n"), [(0, 10), (10, 10)])
def test_interval_ends_exactly_at_zero_or_one(interval, n_events, n):
    lower, upper = interval(n_events, n)
    assert (float(lower) == 0.0) == (n_events == 0)
    assert (float(upper) == 1.0) == (n_events == n)


@pytest.mark.parametrize("interval", INTERVALS)
@pytest.mark.parametrize(("n_events", "n"), [(-1, 10), (11, 10), (0, -1)])
def test_interval_of_impossible_counts_raises(interval, n_events, n):
    with pytest.raises(ValueError, match="between 0 and n"):
        interval(n_events, n)


@pytest.mark.parametrize("level", [0.0, 1.0, 95.0])
def test_interval_of_impossible_level_raises(level):
    with pytest.raises(ValueError, match="level"):
        wilson_interval(1, 2, level=level)


def test_wilson_interval_example_of_its_docstring():
    assert wilson_interval(0, 10) == pytest.approx((0.0, 0.278), abs=5e-4)


def test_wilson_interval_widens_with_level():
    narrow, wide = wilson_interval(5, 50, level=0.90), wilson_interval(5, 50, level=0.99)
    assert wide[0] < narrow[0] < 0.1 < narrow[1] < wide[1]


def test_newcombe_difference_turns_with_its_groups():
    lower, upper = newcombe_difference(56, 70, 48, 80)
    assert newcombe_difference(48, 80, 56, 70) == pytest.approx((-upper, -lower))


def test_newcombe_difference_without_exams_is_nan():
    assert np.isnan(newcombe_difference(0, 0, 5, 10)).all()
