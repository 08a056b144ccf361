"""CUSUM: sums of what is beyond the expected, for small lasting shifts."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def two_sided_cusum(
    values: ArrayLike, *, target: ArrayLike, allowance: ArrayLike, start: ArrayLike = 0.0
) -> tuple[Floats, Floats]:
    """Sums of excess above and below the target, for many series at once.

    Args:
        values: (time,) or (time, series); nan moves nothing.
        target: mean when nothing has changed.
        allowance: half the shift that is to be found (K), in the unit of the values.
        start: head start of both sums, 0 or half the decision limit.
    Returns: (upper, lower), both 0 or more, same shape.
    Method: S = max(0, S + x - target - allowance), and below alike.
    Weak when: the target is known from few values only; false alarms then come early.
    References: Page, Biometrika 1954; 41: 100-115. NIST/SEMATECH e-Handbook 6.3.2.3.
    Example: 11, 12 with target 10, allowance 0.5 → upper 0.5, 2.0; lower 0, 0
    """
    excess = np.asarray(values, dtype=np.float64) - np.asarray(target, dtype=np.float64)
    least = np.asarray(allowance, dtype=np.float64)
    return score_cusum(excess - least, start=start), score_cusum(-excess - least, start=start)


def score_cusum(
    scores: ArrayLike, *, start: ArrayLike = 0.0, reset_at: ArrayLike = np.inf
) -> Floats:
    """Running sum of scores that never falls below 0, for many series at once.

    Args:
        scores: (time,) or (time, series); nan moves nothing.
        start: value before the first score.
        reset_at: a sum at or above it is kept at that time and begins anew from 0 after it.
    Returns: sums, same shape.
    Example: 1, -2, 3 → 1, 0, 3
    """
    given = np.asarray(scores, dtype=np.float64)
    sums, end = np.empty_like(given), np.asarray(reset_at, dtype=np.float64)
    now = np.broadcast_to(np.asarray(start, dtype=np.float64), given.shape[1:]).copy()
    for time, score in enumerate(given):
        before = np.where(now >= end, 0.0, now)
        now = np.where(np.isnan(score), before, np.maximum(0.0, before + score))
        sums[time] = now
    return sums


def times_above_zero(sums: ArrayLike) -> Ints:
    """How many values in a row the sum has been above 0: the shift began about then.

    Args:
        sums: (time,) or (time, series) of score_cusum.
    Returns: counts, 0 where the sum is 0.
    Weak when: as an estimate of the change it is rough, and late for large shifts.
    References: Page, Biometrika 1954; 41: 100-115.
    Example: 0, 1, 2, 0, 3 → 0, 1, 2, 0, 1
    """
    given = np.asarray(sums, dtype=np.float64)
    counts = np.zeros(given.shape, dtype=np.int64)
    now = np.zeros(given.shape[1:], dtype=np.int64)
    for time, value in enumerate(given):
        now = np.where(value > 0, now + 1, 0)
        counts[time] = now
    return counts
