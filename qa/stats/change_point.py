"""When a share changed: the most likely first month, and the months that it may have been."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincc, betaln

Floats = NDArray[np.float64]

_HALF = 0.5


@dataclass(frozen=True)
class ChangeMonth:
    """Places in the series: first ≤ estimate ≤ last; share: how likely the estimate itself is."""

    estimate: int
    first: int
    last: int
    share: float


def change_month(
    n_events: ArrayLike, n: ArrayLike, *, centre: ArrayLike, level: float = 0.9
) -> ChangeMonth:
    """Since when a share is higher than its centre line says.

    Args:
        n_events: events of each month, in order; the last month is within the change.
        n: exams of each month, 1 or more.
        centre: share before the change, taken as known; one for all months, or one for each.
        level: probability that the interval is to hold.
    Returns: ChangeMonth. For a share that fell, hand in the other exams and 1 - centre.
    Method: each month is as likely beforehand to be the first changed one. The months before it
        are binomial at the centre line; those from it on share one unknown proportion above the
        (mean) centre line, Jeffreys' prior cut off there and integrated out. The estimate is
        the most likely month; the interval leaves (1 - level) / 2 on either side.
    Weak when: the share drifts slowly instead of jumping (the month named is then about where
        half of it was reached), or came back in between.
    References: Smith, Biometrika 1975; 62: 407-416. Jeffreys, Theory of Probability, 1961.
    Example: 1, 2, 1, 6, 7, 6 of 30 at 0.05 → estimate 3, first 3, last 3
    """
    events, size = np.asarray(n_events, float), np.asarray(n, float)
    known = np.clip(np.broadcast_to(np.asarray(centre, float), size.shape), 1e-6, 1 - 1e-6)
    after, exams = (np.cumsum(one[::-1])[::-1] for one in (events, size))
    flat = events * np.log(known) + (size - events) * np.log(1 - known)
    after_known = np.cumsum((known * size)[::-1])[::-1] / exams
    log_weight = np.cumsum(flat) - flat + _log_marginal(after, exams, after_known)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    tail = (1 - level) / 2
    below = np.cumsum(weight)
    best = int(weight.argmax())
    first = int(np.searchsorted(below, tail, "right"))
    last = int(np.searchsorted(below, 1 - tail, "left"))
    return ChangeMonth(
        best, min(first, best), max(min(last, len(below) - 1), best), float(weight[best])
    )


def _log_marginal(events: Floats, n: Floats, centre: Floats) -> Floats:
    """Log probability of the months after a change, over all shares above the centre line."""
    a, b = events + _HALF, n - events + _HALF
    above = np.maximum(betaincc(a, b, centre), 1e-300)
    prior = np.maximum(betaincc(_HALF, _HALF, centre), 1e-300)
    return np.asarray(betaln(a, b) + np.log(above) - betaln(_HALF, _HALF) - np.log(prior))
