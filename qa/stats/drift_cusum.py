"""A CUSUM of monthly counts on many series at once: opens an item, and closes it again."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Odds that the CUSUM looks for, as a factor. With many events a month a smaller shift is worth
# finding: the one of 2.2 standard errors of a month.
MOST_ODDS = 2.0
MANY_EVENTS = 5.0

# A sum is held at this many limits; an item stays open until it falls below this part of one.
CAP, CLOSE = 1.25, 0.75


def odds_sought(expected: ArrayLike) -> Floats:
    """Odds ratio that a series' CUSUM looks for.

    Args:
        expected: events expected in a typical month.
    Returns: 2 up to five events a month, then 1 + √(5 / expected).
    Example: 1 → 2.0; 20 → 1.5
    """
    events = np.maximum(np.asarray(expected, dtype=np.float64), MANY_EVENTS)
    return np.asarray(1 + (MOST_ODDS - 1) * np.sqrt(MANY_EVENTS / events))


def month_scores(
    n_events: ArrayLike, n: ArrayLike, *, share: ArrayLike, odds_ratio: ArrayLike
) -> Floats:
    """Evidence of each month for odds `odds_ratio` times those of `share`.

    Method: logarithm of the likelihood ratio of two binomial distributions; the sum of the
        weights of its exams (Steiner et al. 2000), so that months of any size add up.
    Example: 2 events of 5, share 0.1, odds ratio 2 → 0.910
    """
    p, ratio = np.asarray(share, dtype=np.float64), np.asarray(odds_ratio, dtype=np.float64)
    events, size = np.asarray(n_events, dtype=np.float64), np.asarray(n, dtype=np.float64)
    return np.asarray(events * np.log(ratio) - size * np.log(1 - p + ratio * p))


def drift_cusum(scores: ArrayLike, limits: ArrayLike) -> tuple[Floats, Bools]:
    """Sum evidence over time and say in which months an item is open.

    Args:
        scores: (time, series); nan is a month without exams and moves nothing.
        limits: same shape; the limit in force in each month.
    Returns: (sums, is open), same shape. An item opens when the sum reaches the limit and
        stays open while it is at three quarters of it or more; the sum is held at 1.25 limits,
        so that good months close it again. It begins at 0.
    Weak when: what is expected has changed for good reasons; then a person re-sets the baseline.
    References: Page, Biometrika 1954; 41: 100-115.
    Example: scores 3, 3, -4 with limit 5 → sums 3, 6, 2; open: no, yes, no
    """
    given = np.asarray(scores, dtype=np.float64)
    ends = np.asarray(limits, dtype=np.float64)
    sums, opened = np.zeros_like(given), np.zeros(given.shape, dtype=bool)
    now = np.zeros(given.shape[1:])
    is_open = np.zeros(given.shape[1:], dtype=bool)
    for month, (score, end) in enumerate(zip(given, ends, strict=True)):
        is_known = ~np.isnan(score)
        later = np.clip(now + np.where(is_known, score, 0.0), 0.0, CAP * end)
        now = np.where(is_known, later, now)
        is_open = np.where(is_known, (now >= end) | (is_open & (now >= CLOSE * end)), is_open)
        sums[month], opened[month] = now, is_open
    return sums, opened
