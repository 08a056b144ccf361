"""Thin months and pauses: limits worked out by hand from tables, and their edges."""

import pytest

from qa.stats.volume import chance_of_pause, longest_pause, thin_bound

T_11_AT_0_005 = 3.106
"""Student's t, 11 degrees of freedom, one-sided 0.005: any printed table, for example NIST/SEMATECH
e-Handbook 1.3.6.7.2."""


@pytest.mark.parametrize("mean", [25, 100, 400])
def test_thin_bound_of_equal_months_by_hand(mean: int):
    """The roots do not vary, so s is the Poisson value 1/2: (root - t/2 · root(13/12))²."""
    expected = (mean**0.5 - T_11_AT_0_005 / 2 * (13 / 12) ** 0.5) ** 2
    assert thin_bound([mean] * 12, tail=0.005) == pytest.approx(expected, abs=0.05)


def test_thin_bound_is_lower_where_months_vary_more():
    calm, lively = [100] * 12, [64, 144] * 6
    assert thin_bound(lively, tail=0.005) < thin_bound(calm, tail=0.005)


def test_thin_bound_never_calls_small_sites():
    assert thin_bound([2] * 12, tail=0.005) == 0.0


@pytest.mark.parametrize(
    ("days", "expected"),
    [([True], 0), ([False], 1), ([True, False, False, True, False], 2), ([False] * 4, 4)],
)
def test_longest_pause(days: list[bool], expected: int):
    assert longest_pause(days) == expected


def test_chance_of_pause_multiplies_the_habits_of_weekdays():
    has = [True, False, True, True, False, False]
    week = [0, 0, 1, 1, 5, 6]
    assert chance_of_pause(has, week, pause=[0, 5, 6]) == pytest.approx(0.5)
    assert chance_of_pause(has, week, pause=[0, 1]) == 0.0
    assert chance_of_pause(has, week, pause=[3]) == 1.0
    assert chance_of_pause(has, week, pause=[]) == 1.0
