"""Individuals and moving ranges: a chart for one value a month."""

import numpy as np
from numpy.typing import ArrayLike

from qa.stats.constants import chart_constants


def mean_moving_range(values: ArrayLike) -> float:
    """Mean of the steps between neighbours in time; nan for fewer than two values.

    Example: 1, 3, 2 → 1.5
    """
    steps = np.abs(np.diff(np.asarray(values, dtype=np.float64)))
    return float(steps.mean()) if len(steps) else float("nan")


def individuals_limits(
    centre: float, moving_range: float, *, d2: float | None = None, sigmas: float = 3.0
) -> tuple[float, float]:
    """Limits of single values from the mean step between neighbours.

    Args:
        centre: mean of the baseline.
        moving_range: mean_moving_range of the baseline.
        d2: exact (1.128379) unless given; print often has 1.128, which shows in the fourth digit.
    Returns: (lcl, ucl).
    Method: centre ± sigmas · moving_range / d2.
    Weak when: neighbours go together (autocorrelation): the limits are then too narrow.
    References: NIST/SEMATECH e-Handbook 6.3.2.2.
    Example: centre 50.81, moving range 1.8778 → (45.818, 55.802); with d2 1.128 (45.816, 55.804)
    """
    half = sigmas * moving_range / (d2 or chart_constants(2).d2)
    return centre - half, centre + half


def moving_range_limit(moving_range: float) -> float:
    """Upper three-sigma limit of a moving range: D4 of two values times its mean.

    Example: 1.8778 → 6.134
    """
    return chart_constants(2).D4 * moving_range
