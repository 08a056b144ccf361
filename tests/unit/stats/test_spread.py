import numpy as np
import pytest

from qa.stats.spread import unit_spread


def test_unit_spread_of_equal_units_is_chance_alone():
    spread = unit_spread([10] * 12, [100] * 12, target=0.1)
    assert spread.tau2 == 0.0
    assert spread.z_adjusted == pytest.approx(np.zeros(12))


def test_unit_spread_of_one_unit_has_no_spread():
    assert unit_spread([10], [100], target=0.2).tau2 == 0.0


def test_unit_spread_consistent_finds_the_spread_of_normal_units():
    """Units drawn on the arcsine scale with tau 0.08; the published method finds too little."""
    rng = np.random.default_rng(7)
    angle = np.arcsin(np.sqrt(0.2)) + rng.normal(0, 0.08, 4000)
    n = np.full(4000, 400)
    events = rng.binomial(n, np.sin(angle) ** 2)
    found = unit_spread(events, n, target=0.2, is_consistent=True).tau2
    assert found == pytest.approx(0.08**2, rel=0.1)
    assert unit_spread(events, n, target=0.2).tau2 < 0.8 * found


def test_unit_spread_outlier_stands_out_of_units_that_differ_little():
    events = np.array([10, 8, 12, 9, 11, 10, 9, 11, 10, 8, 12, 40])
    spread = unit_spread(events, np.full(12, 200), target=events.sum() / 2400)
    assert np.argmax(spread.z_adjusted) == 11
    assert spread.z_adjusted[11] > 3.09
