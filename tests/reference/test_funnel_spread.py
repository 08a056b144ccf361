"""Spread between units beyond chance.

Method: Spiegelhalter, Stat Med 2005; 24: 1185-1202; Spiegelhalter et al., J R Stat Soc A 2012;
175: 1-47. Data: cbpp (contagious bovine pleuropneumonia, 15 herds, summed over periods), carried
by R lme4. Figures: R FunnelPlotR, 10 digits.
"""

import numpy as np
import pytest

from qa.stats.spread import unit_spread

EVENTS = np.array([9, 5, 12, 4, 6, 4, 12, 12, 2, 4, 9, 3, 3, 11, 3])
N = np.array([40, 61, 74, 35, 71, 72, 40, 34, 29, 84, 96, 29, 87, 26, 64])
Z = [
    1.82423826271, -0.931532649253, 1.10901840554, -0.0608264091974, -0.927516914999,
    -1.90165714695, 2.90477204349, 3.33687552849, -0.907596590161, -2.38311110611,
    -0.760578372872, -0.242794686325, -3.0447901774, 3.652642013, -2.10820531954,
]  # fmt: skip


def test_unit_spread_equals_the_herds():
    target = EVENTS.sum() / N.sum()
    spread = unit_spread(EVENTS, N, target=target)
    assert target == pytest.approx(0.11757719715, abs=1e-11)
    assert spread.z == pytest.approx(Z, abs=1e-9)
    assert spread.phi == pytest.approx(3.64038886494, abs=1e-9)
    assert spread.tau2 == pytest.approx(0.0130762925424, abs=1e-10)


def test_unit_spread_without_drawing_in_equals_the_raw_herds():
    spread = unit_spread(EVENTS, N, target=EVENTS.sum() / N.sum(), trim=0.0)
    assert spread.phi == pytest.approx(4.2450463897, abs=1e-9)
    assert spread.tau2 == pytest.approx(0.0159970596229, abs=1e-9)


def test_unit_spread_gives_the_upper_limit_of_50_exams():
    """With tau² the upper 99.8 % limit at n = 50 is 0.480080329563: there z_adjusted is 3.0902."""
    target = EVENTS.sum() / N.sum()
    tau2 = unit_spread(EVENTS, N, target=target).tau2
    gap = np.arcsin(np.sqrt(0.480080329563)) - np.arcsin(np.sqrt(target))
    assert gap / np.sqrt(1 / (4 * 50) + tau2) == pytest.approx(3.090232306, abs=1e-6)
