"""How surprising a new count is when the centre line itself rests on a limited baseline."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaln, gammaln

Floats = NDArray[np.float64]

_NEGLIGIBLE = 1e-17


def predictive_upper_tail(
    n_events: ArrayLike, n: ArrayLike, *, event_weight: ArrayLike, other_weight: ArrayLike
) -> Floats:
    """Probability of at least `n_events` in `n` new exams, given what is known beforehand.

    A baseline of 100 exams knows its share less well than one of 5,000; a plain binomial tail
    forgets that and raises too many false alarms on young charts.

    Args:
        n_events: events in the new period, 0 to n.
        n: exams of the new period, 1 or more.
        event_weight, other_weight: events and other exams known beforehand, above 0: those of
            the baseline plus 1/2 each (Jeffreys), or plus what peers say (prior.py).
    Returns: probabilities between 0 and 1.
    Method: beta-binomial tail, summed term by term.
    Weak when: the unit's true share moves from month to month; then no single baseline fits.
    References: Skellam, J R Stat Soc B 1948; 10: 257-261. Jeffreys, Theory of Probability,
        3rd ed. 1961 (the 1/2).
    Example: 4 of 20 after a baseline of 5 in 100, weights 5.5 and 95.5 → 0.033
    """
    given = np.broadcast_arrays(n_events, n, event_weight, other_weight)
    k, size, a, b = (one.astype(np.float64).ravel() for one in given)
    tail = np.ones(len(k))
    is_high = (k > 0) & (k >= size * a / (a + b))
    is_low = (k > 0) & ~is_high
    tail[is_high] = _tail_beyond_mean(k[is_high], size[is_high], a[is_high], b[is_high])
    others = (size - k + 1)[is_low]
    tail[is_low] = 1 - _tail_beyond_mean(others, size[is_low], b[is_low], a[is_low])
    return np.clip(tail, 0.0, 1.0).reshape(given[0].shape)


def _tail_beyond_mean(k: Floats, size: Floats, a: Floats, b: Floats) -> Floats:
    """P(K ≥ k) for k at or above the mean, where terms only get smaller: summed until they end."""
    k = k.copy()
    log_ways = gammaln(size + 1) - gammaln(k + 1) - gammaln(size - k + 1)
    term = np.exp(log_ways + betaln(k + a, size - k + b) - betaln(a, b))
    sums = term.copy()
    at = np.flatnonzero(k < size)
    while len(at):
        rest = size[at] - k[at]
        term[at] *= rest / (k[at] + 1) * (k[at] + a[at]) / (rest - 1 + b[at])
        sums[at] += term[at]
        k[at] += 1
        at = at[(k[at] < size[at]) & (term[at] > _NEGLIGIBLE * sums[at])]
    return np.asarray(sums)
