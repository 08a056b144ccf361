"""How much wider limits are because the baseline behind them is short."""

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, stdtrit

Floats = NDArray[np.float64]


def one_sided_tail(sigmas: float) -> float:
    """Probability beyond so many sigma on one side of a normal curve.

    Example: 3 → 0.00135
    """
    return float(ndtr(-sigmas))


def estimation_factor(n: ArrayLike, n_baseline: ArrayLike) -> Floats:
    """Factor by which a month's limits widen because the centre line is itself an estimate.

    Args:
        n: exams of the month.
        n_baseline: exams behind the centre line; infinite (or nan) where it is known.
    Returns: factors of 1 or more.
    Method: a month's share less the baseline's has the variance v · (1/n + 1/N) where v/n is that
        of the month alone, so the factor is √(1 + n/N): a prediction interval.
    Weak when: exact limits at small n are moved by it too, which is close and not exact.
    References: Quesenberry, J Qual Technol 1993; 25: 237-247 (effect of short baselines; cited
        from memory). Hahn, Meeker, Statistical Intervals, 1991, prediction intervals (same).
    Example: n 50, baseline 100 → 1.225
    """
    size, base = np.asarray(n, dtype=np.float64), np.asarray(n_baseline, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(base > 0, size / base, 0.0)
    return np.sqrt(1 + np.nan_to_num(part))


def student_width(sigmas: float, freedom: float) -> float:
    """Width in estimated sigmas that leaves as much outside as `sigmas` does in true ones.

    Args: freedom: degrees of freedom of the estimate; infinite where sigma is known.
    Example: 3 sigmas, 10 degrees → 3.957
    """
    if not np.isfinite(freedom):
        return sigmas
    return float(-stdtrit(max(freedom, 1.0), one_sided_tail(sigmas)))


@cache
def moving_range_freedom(n: int) -> float:
    """Degrees of freedom of a sigma that comes from n - 1 moving ranges of n values.

    Method: 1 / (2 · CV²) with the mean moving range's exact variance for normal values: its
        ranges have variance 2 - 4/π each, and neighbours the covariance of |a - b| and |b - c|.
    Returns: nan for fewer than two values.
    References: Cryer, Ryan, J Qual Technol 1990; 22: 187-192 gives the variance as
        (0.8264 n - 1.082) / (n - 1)² (recalled).
    Example: 12 → 6.85
    """
    if n < 2:
        return float("nan")
    # |a - b| and |b - c| are two normal values of variance 2 with correlation -1/2; the mean of
    # the product of absolutes is 2·(2/π)·(√(1 - r²) + r·asin r).
    r = -0.5
    product = 4 / np.pi * (np.sqrt(1 - r * r) + r * np.arcsin(r))
    mean = 2 / np.sqrt(np.pi)
    steps = n - 1
    variance = (steps * (2 - mean**2) + 2 * (steps - 1) * (product - mean**2)) / steps**2
    return float(mean**2 / (2 * variance))
