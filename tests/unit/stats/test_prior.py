import numpy as np
import pytest

from qa.stats.prior import MOST_EXAMS, peer_priors

ALIKE = [2, 4, 6, 8, 10]


def test_peer_priors_equal_the_moments_worked_by_hand():
    """mean 30/500 = 0.06; between (100·0.004)/4 = 0.1; chance 0.0564; typical n 100;
    rho (0.1 - 0.0564) / (99 · 0.0564) = 0.0078086; strength 1/rho - 1 = 127.064."""
    events, others = peer_priors(ALIKE, [100] * 5, [1] * 5, [9] * 5)
    assert events == pytest.approx([0.06 * 127.0642] * 5, rel=1e-5)
    assert others == pytest.approx([0.94 * 127.0642] * 5, rel=1e-5)


def test_peer_priors_of_four_units_say_nothing():
    events, others = peer_priors(ALIKE[:4], [100] * 4, [1] * 4, [9] * 4)
    assert (events == 0.5).all()
    assert (others == 0.5).all()


def test_peer_priors_ask_no_baseline_that_ended_later():
    events, _ = peer_priors([*ALIKE, 90], [100] * 6, [1] * 6, [9] * 5 + [10])
    assert events[:5] == pytest.approx([7.62385] * 5, rel=1e-5)
    assert events[5] != pytest.approx(7.62385, rel=1e-2)


def test_peer_priors_keep_groups_and_order():
    alone, _ = peer_priors(ALIKE, [100] * 5, [1] * 5, [9] * 5)
    mixed, _ = peer_priors(
        [50, 2, 60, 4, 6, 8, 10], [100] * 7, [2, 1, 2, 1, 1, 1, 1], [3, 9, 3, 9, 9, 9, 9]
    )
    assert mixed[[1, 3, 4, 5, 6]] == pytest.approx(alone)
    assert mixed[[0, 2]].tolist() == [0.5, 0.5]


@pytest.mark.parametrize("events", [[5] * 6, [0] * 6, [100] * 6])
def test_peer_priors_of_equal_units_stay_within_their_cap(events):
    event_weight, other_weight = peer_priors(events, [100] * 6, [1] * 6, [9] * 6)
    assert (event_weight + other_weight <= MOST_EXAMS + 1).all()
    assert (np.minimum(event_weight, other_weight) >= 0.5).all()


def test_peer_priors_of_no_rows_are_empty():
    events, others = peer_priors([], [], [], [])
    assert events.shape == others.shape == (0,)
