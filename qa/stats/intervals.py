"""Intervals for shares: how far chance alone may carry a figure."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv, ndtri

Floats = NDArray[np.float64]


def wilson_interval(
    n_events: ArrayLike, n: ArrayLike, *, level: float = 0.95
) -> tuple[Floats, Floats]:
    """Interval for a share that stays within 0 to 1 when counts are small.

    Args:
        n_events: events counted, 0 to n.
        n: exams counted, 0 or more.
        level: share of such intervals that hold the true share, between 0 and 1.
    Returns: (lower, upper) as shares, same shape; nan where n is 0.
    Raises: ValueError when n_events is outside 0 to n, or level outside 0 to 1 (our bug).
    Method: Wilson score interval without continuity correction.
    Weak when: exams are not independent of each other (one operator's bad day).
    References: Wilson, J Am Stat Assoc 1927; 22: 209-212. Newcombe, Stat Med 1998; 17: 857-872.
    Example: 0 of 10 → (0.000, 0.278)
    """
    events, total = _checked(n_events, n, level)
    z = _z(level)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = events / total
        middle = (share + z**2 / (2 * total)) / (1 + z**2 / total)
        half = z * np.sqrt(share * (1 - share) / total + z**2 / (4 * total**2)) / (1 + z**2 / total)
    lower = np.where(events == 0, np.where(total > 0, 0.0, np.nan), middle - half)
    upper = np.where(events == total, np.where(total > 0, 1.0, np.nan), middle + half)
    return np.clip(lower, 0.0, 1.0), np.clip(upper, 0.0, 1.0)


def clopper_pearson_interval(
    n_events: ArrayLike, n: ArrayLike, *, level: float = 0.95
) -> tuple[Floats, Floats]:
    """Interval for a share that never covers less often than `level` says.

    Args, Returns, Raises: as wilson_interval.
    Method: exact binomial tails, each (1 - level) / 2, by quantiles of the beta distribution.
    Weak when: a typical width is wanted; it is wider than it needs to be.
    References: Clopper, Pearson, Biometrika 1934; 26: 404-413.
    Example: 1 of 29 → (0.0009, 0.1776)
    """
    events, total = _checked(n_events, n, level)
    tail = (1 - level) / 2
    is_known = total > 0
    lower = np.where(is_known, 0.0, np.nan)
    upper = np.where(is_known, 1.0, np.nan)
    low, high = is_known & (events > 0), is_known & (events < total)
    lower[low] = betaincinv(events[low], (total - events + 1)[low], tail)
    upper[high] = betaincinv((events + 1)[high], (total - events)[high], 1 - tail)
    return lower, upper


def newcombe_difference(
    n_events: ArrayLike,
    n: ArrayLike,
    other_events: ArrayLike,
    other_n: ArrayLike,
    *,
    level: float = 0.95,
) -> tuple[Floats, Floats]:
    """Interval for the difference between two independent shares, first minus other.

    Args: as wilson_interval, twice.
    Returns: (lower, upper), each between -1 and 1; nan where either n is 0.
    Raises: ValueError as wilson_interval.
    Method: hybrid of two Wilson intervals without continuity correction (method 10).
    Weak when: the two groups share exams or patients.
    References: Newcombe, Stat Med 1998; 17: 873-890.
    Example: 56 of 70 against 48 of 80 → (0.0524, 0.3339)
    """
    low, high = wilson_interval(n_events, n, level=level)
    other_low, other_high = wilson_interval(other_events, other_n, level=level)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.asarray(n_events, dtype=float) / np.asarray(n, dtype=float)
        other = np.asarray(other_events, dtype=float) / np.asarray(other_n, dtype=float)
    difference = share - other
    return (
        difference - np.hypot(share - low, other_high - other),
        difference + np.hypot(high - share, other - other_low),
    )


def _z(level: float) -> float:
    return float(ndtri(1 - (1 - level) / 2))


def _checked(n_events: ArrayLike, n: ArrayLike, level: float) -> tuple[Floats, Floats]:
    if not 0 < level < 1:
        raise ValueError(f"level {level} is not between 0 and 1")
    events, total = np.broadcast_arrays(
        np.asarray(n_events, dtype=np.float64), np.asarray(n, dtype=np.float64)
    )
    if (total < 0).any() or (events < 0).any() or (events > total).any():
        raise ValueError("n_events must lie between 0 and n")
    return events, total
