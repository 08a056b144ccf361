"""A step of a density at a known limit: level and power on log-normal ratios, seeds stated."""

import numpy as np
import pytest

from qa.stats.step_at_limit import step_at_limit
from qa.stats.tails import binomial_lower, binomial_upper, poisson_upper

EDGES = np.linspace(0.4, 1.6, 19)
MIDDLES = (EDGES[1:] + EDGES[:-1]) / 2


def chance(ratios: np.ndarray) -> float:
    return step_at_limit(np.histogram(ratios, EDGES)[0], np.ones(18), middles=MIDDLES)[1]


@pytest.mark.parametrize("n", [150, 400, 1500])
def test_honest_ratios_keep_the_level(n: int) -> None:
    rng = np.random.default_rng(44)
    found = np.array([chance(0.5 * rng.lognormal(0, 0.45, n)) for _ in range(400)])
    assert np.mean(found < 0.05) < 0.05 + 4 * np.sqrt(0.05 / 400)


def test_step_is_found() -> None:
    rng = np.random.default_rng(45)
    ratios = 0.5 * rng.lognormal(0, 0.45, 800)
    moved = (ratios > 1) & (ratios < 1.4)
    assert chance(np.where(moved, 0.98, ratios)) < 1e-6
    assert chance(ratios) > 0.001


def test_bins_without_room_do_not_count() -> None:
    """A coarse scale: every second bin cannot be hit."""
    rooms = np.tile([1.0, 0.0], 9)
    counts = rooms * 40 * np.exp(-3 * np.log(MIDDLES) ** 2)
    assert step_at_limit(np.round(counts), rooms, middles=MIDDLES)[1] > 0.05


@pytest.mark.parametrize("counts", [np.zeros(18), np.r_[np.ones(9), np.zeros(9)]])
def test_too_little_to_tell(counts: np.ndarray) -> None:
    assert step_at_limit(counts, np.ones(18), middles=MIDDLES) == (1.0, 1.0)


def test_tails() -> None:
    assert binomial_upper(3, 3, 0.5) == pytest.approx(0.125)
    assert binomial_lower(0, 3, 0.5) == pytest.approx(0.125)
    assert poisson_upper(1, 0.5) == pytest.approx(1 - np.exp(-0.5))
    assert binomial_upper(0, 3, 0.5) == poisson_upper(0, 0.5) == 1.0
