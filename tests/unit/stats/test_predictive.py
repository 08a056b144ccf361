import numpy as np
import pytest
import scipy.stats

from qa.stats.predictive import predictive_upper_tail


@pytest.mark.parametrize(("k", "tail"), [(0, 1.0), (1, 0.5), (2, 1 / 6)])
def test_predictive_upper_tail_by_hand(k, tail):
    """Weights 1 and 2: P(K = 0, 1, 2 of 2) = 1/2, 1/3, 1/6 (Polya's urn)."""
    found = predictive_upper_tail(k, 2, event_weight=1, other_weight=2)
    assert float(found) == pytest.approx(tail)


def test_predictive_upper_tail_of_a_long_baseline_nears_the_binomial():
    found = predictive_upper_tail(12, 90, event_weight=5e6, other_weight=95e6)
    assert float(found) == pytest.approx(scipy.stats.binom.sf(11, 90, 0.05), rel=1e-4)


def test_predictive_upper_tail_of_a_short_baseline_is_more_careful():
    short, long = predictive_upper_tail(
        [12, 12], [90, 90], event_weight=[5.5, 500], other_weight=[95.5, 9500]
    )
    assert short > 3 * long


def test_predictive_upper_tail_of_no_rows_is_empty():
    nothing = np.zeros(0)
    assert predictive_upper_tail(
        nothing, nothing, event_weight=nothing, other_weight=nothing
    ).shape == (0,)
