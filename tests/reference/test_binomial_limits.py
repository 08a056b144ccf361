"""Exact binomial limits and tails against the general-purpose library scipy.stats."""

import numpy as np
import pytest
import scipy.stats

from qa.stats.limits import binomial_limits
from qa.stats.predictive import predictive_upper_tail

CENTRES = [0.0, 0.004, 0.05, 0.2313, 0.5, 0.93, 0.999, 1.0]
SIZES = [1, 2, 7, 37, 140, 1684, 20000]


@pytest.mark.parametrize("tail", [0.00135, 0.025])
@pytest.mark.parametrize("centre", CENTRES)
def test_binomial_limits_equal_scipy_quantiles(centre, tail):
    n = np.array(SIZES)
    lcl, ucl = binomial_limits(centre, n, tail=tail)
    assert np.rint(ucl * n).tolist() == scipy.stats.binom.isf(tail, n, centre).clip(0).tolist()
    assert np.rint(lcl * n).tolist() == scipy.stats.binom.ppf(tail, n, centre).clip(0).tolist()


@pytest.mark.parametrize(
    ("k", "n", "events", "others"),
    [(4, 20, 5.5, 95.5), (0, 20, 5.5, 95.5), (20, 20, 5.5, 95.5), (60, 864, 3195.5, 53.5),
     (27, 180, 18.5, 342.5), (1, 1, 0.5, 100.5), (3, 222, 0.5, 400.5)],
)  # fmt: skip
def test_predictive_upper_tail_equals_scipy_betabinom(k, n, events, others):
    tail = predictive_upper_tail(k, n, event_weight=events, other_weight=others)
    expected = scipy.stats.betabinom.sf(k - 1, n, events, others)
    assert float(tail) == pytest.approx(expected, rel=1e-8, abs=1e-12)
