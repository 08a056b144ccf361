"""Charts for means and spreads of several values a month: X̄-S, and X̄-R for small samples."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qa.stats.constants import c4_of, chart_constants

Floats = NDArray[np.float64]


def pooled_sd(sd: ArrayLike, n: ArrayLike) -> float:
    """Standard deviation within samples of different size.

    Args:
        sd, n: standard deviation and size of each sample; sizes below 2 say nothing.
    Returns: sqrt(Σ (n - 1)·sd² / Σ (n - 1)); nan without a sample of two.
    References: Montgomery, Introduction to Statistical Quality Control, equation 6.31.
    Example: sd 1 of 2 values, 2 of 5 values → 1.844
    """
    spread, size = np.asarray(sd, dtype=np.float64), np.asarray(n, dtype=np.float64)
    known = size >= 2
    weight = size[known] - 1
    if not weight.sum():
        return float("nan")
    return float(np.sqrt((weight * spread[known] ** 2).sum() / weight.sum()))


def xbar_s_limits(
    centre: ArrayLike, spread: ArrayLike, n: ArrayLike, *, sigmas: float = 3.0
) -> tuple[Floats, Floats]:
    """Limits of a month's mean from the spread within months.

    Args:
        centre: mean of the baseline.
        spread: mean standard deviation of equal samples, or pooled_sd of unequal ones.
        n: values of the month.
    Returns: (lcl, ucl); nan where n is below 2.
    Method: centre ± sigmas · spread / (c4(n) · √n).
    Weak when: means wander between months for good reasons (case mix): limits are then too
        narrow and individuals_limits fits better.
    References: Montgomery, Introduction to Statistical Quality Control, 6.3.
    Example: centre 74.001, spread 0.0094, n 5 → (73.988, 74.015)
    """
    middle, size = np.asarray(centre, dtype=np.float64), np.asarray(n, dtype=np.float64)
    half = sigmas * np.asarray(spread, dtype=np.float64) / (c4_of(size) * np.sqrt(size))
    return middle - half, middle + half


def s_limits(spread: ArrayLike, n: ArrayLike, *, sigmas: float = 3.0) -> tuple[Floats, Floats]:
    """Limits of a month's standard deviation.

    Args, Weak when, References: as xbar_s_limits.
    Returns: (lcl, ucl), not below 0; nan where n is below 2.
    Method: spread · (1 ± sigmas · sqrt(1 - c4²) / c4).
    Example: spread 0.0094, n 5 → (0, 0.0196)
    """
    c4 = c4_of(n)
    half = sigmas * np.sqrt(1 - c4**2) / c4
    middle = np.asarray(spread, dtype=np.float64)
    return np.maximum(middle * (1 - half), 0.0), middle * (1 + half)


def xbar_r_limits(centre: float, mean_range: float, n: int) -> tuple[float, float]:
    """Three-sigma limits of means of equal small samples from their mean range.

    Returns: (lcl, ucl).
    Method: centre ± A2(n) · mean_range, with A2 by formula.
    Weak when: n is above about 10: the range wastes what lies between its ends.
    References: Montgomery, Introduction to Statistical Quality Control, 6.2.
    Example: centre 74.001176, mean range 0.02276, n 5 → (73.98805, 74.01430)
    """
    half = chart_constants(n).A2 * mean_range
    return centre - half, centre + half


def r_limits(mean_range: float, n: int) -> tuple[float, float]:
    """Three-sigma limits of the range of equal small samples: D3 and D4 times its mean.

    Example: mean range 0.02276, n 5 → (0, 0.0481)
    """
    constants = chart_constants(n)
    return constants.D3 * mean_range, constants.D4 * mean_range
