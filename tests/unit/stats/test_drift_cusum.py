"""The drift CUSUM: opening, holding and closing an item; limits against simulation."""

import numpy as np
import pytest

from qa.stats.drift_cusum import drift_cusum, month_scores, odds_sought
from qa.stats.drift_limits import HORIZON, drift_limits, false_item_rate
from qa.stats.risk_adjusted import risk_scores


@pytest.mark.parametrize(("expected", "ratio"), [(0.0, 2.5), (2.0, 2.5), (5.0, 2.0), (20.0, 1.5)])
def test_odds_sought_shrink_where_there_are_many_events(expected, ratio):
    assert float(odds_sought(expected)) == pytest.approx(ratio)


def test_month_scores_are_the_sum_of_the_exams_scores():
    """Against the exam-by-exam weights of Steiner et al. 2000."""
    one_by_one = risk_scores([1, 1, 0, 0, 0], np.full(5, 0.1), odds_ratio=2.0).sum()
    assert float(month_scores(2, 5, share=0.1, odds_ratio=2.0)) == pytest.approx(one_by_one)


# Exams of a month, events, and what then stands: worked out with ln by hand. Share 0.1 and odds 2.5
# give 0.9163 for each event and -0.1398 for each exam; the limit is 2.
MONTHS = [
    ("below the limit", [(10, 3), (10, 2)], [1.351, 1.786], [0, 0]),
    ("at the limit, held there", [(10, 3), (10, 5)], [1.351, 2.0], [0, 1]),
    ("begins anew at 0", [(10, 0), (10, 5)], [0.0, 2.0], [0, 1]),
    ("no exams, nothing moves", [(10, 5), (0, 0)], [2.0, 2.0], [1, 1]),
    # Seen 5 of 10, odds 9 times those expected: ln(0.9 + 0.9) = 0.588 an exam against the change.
    ("a good month of 3 exams says 1.76, too little", [(10, 5), (3, 0)], [2.0, 1.581], [1, 1]),
    ("one of 4 exams says 2.35: more than ln 10", [(10, 5), (4, 0)], [2.0, 0.0], [1, 0]),
    ("two say more together", [(10, 5), (3, 0), (2, 0)], [2.0, 1.581, 0.0], [1, 1, 0]),
    # Closed, so from 0 on: 3 · 0.9163 - 3 · 0.1398 is above 2 again.
    ("open again", [(10, 5), (4, 0), (3, 3)], [2.0, 0.0, 2.0], [1, 0, 1]),
]


@pytest.mark.parametrize(("months", "sums", "is_open"), [case[1:] for case in MONTHS])
def test_drift_cusum_opens_holds_and_closes(months, sums, is_open):
    n, events = (np.array(column, dtype=float)[:, None] for column in zip(*months, strict=True))
    same = np.ones(n.shape)
    found, opened = drift_cusum(events, n, share=0.1 * same, limits=2 * same, odds=2.5 * same)
    assert found[:, 0].tolist() == pytest.approx(sums, abs=5e-4)
    assert opened[:, 0].tolist() == [bool(one) for one in is_open]


def simulated_rate(limit, n, a, b, *, n_series=60_000):
    """Items opened a month over the horizon, when true shares follow the beta distribution."""
    rng = np.random.default_rng(20266)
    true = rng.beta(a, b, n_series)
    events = rng.binomial(n, true, (HORIZON, n_series))
    same = np.ones(events.shape)
    share = a / (a + b)
    _, is_open = drift_cusum(
        events,
        n * same,
        share=share * same,
        limits=limit * same,
        odds=odds_sought(n * share) * same,
    )
    opened = is_open & ~np.vstack([np.zeros((1, n_series), dtype=bool), is_open[:-1]])
    return opened.sum() / n_series / HORIZON


SERIES = [(30, 36.0, 684.0), (30, 18.5, 342.5), (8, 1.5, 98.5), (150, 180.0, 1620.0)]


@pytest.mark.parametrize(("n", "a", "b"), SERIES)
def test_false_item_rate_equals_a_simulation_with_a_stated_seed(n, a, b):
    limit = float(drift_limits(n, event_weight=a, other_weight=b, rate=0.003))
    exact = float(false_item_rate(limit, n, event_weight=a, other_weight=b)[0])
    assert exact == pytest.approx(simulated_rate(limit, n, a, b), rel=0.12)


@pytest.mark.parametrize(("n", "a", "b"), SERIES)
@pytest.mark.parametrize("rate", [0.01, 0.002])
def test_drift_limits_between_grid_corners_keep_their_rate(n, a, b, rate):
    limit = drift_limits(n, event_weight=a, other_weight=b, rate=rate)
    found = float(false_item_rate(limit, n, event_weight=a, other_weight=b)[0])
    assert 0.7 * rate < found < 1.1 * rate


def test_drift_limits_are_higher_where_less_is_known_or_less_is_allowed():
    def limit(months, rate):
        return float(
            drift_limits(30, event_weight=1.5 * months, other_weight=28.5 * months, rate=rate)
        )

    assert limit(6, 0.002) > limit(24, 0.002) > limit(200, 0.002)
    assert limit(24, 0.0002) > limit(24, 0.002)


def test_drift_limits_of_no_series_are_none():
    assert drift_limits([], event_weight=[], other_weight=[], rate=[]).shape == (0,)
