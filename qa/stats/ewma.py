"""EWMA: an average that forgets, for small lasting shifts of shares and means."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def ewma(values: ArrayLike, *, weight: float, start: ArrayLike) -> Floats:
    """Exponentially weighted moving average of many series at once.

    Args:
        values: (time,) or (time, series); nan is a month without a value and moves nothing.
        weight: of the newest value, above 0 and up to 1.
        start: value before the first month, the centre line.
    Returns: averages, same shape.
    Method: z = weight · x + (1 - weight) · z before, month after month over all series.
    Weak when: a large sudden shift comes; a Shewhart chart sees it sooner.
    References: Roberts, Technometrics 1959; 1: 239-250. NIST/SEMATECH e-Handbook 6.3.2.4.
    Example: 52, 47 with weight 0.3 from 50 → 50.6, 49.52
    """
    x = np.asarray(values, dtype=np.float64)
    averages = np.empty_like(x)
    z = np.broadcast_to(np.asarray(start, dtype=np.float64), x.shape[1:]).copy()
    for month, now in enumerate(x):
        z = np.where(np.isnan(now), z, weight * now + (1 - weight) * z)
        averages[month] = z
    return averages


def ewma_variance(variances: ArrayLike, *, weight: float) -> Floats:
    """Variance of the EWMA when each month has its own.

    Args:
        variances: (time,) or (time, series) variance of each value; nan as in ewma.
        weight: as ewma.
    Returns: variances of the averages, same shape.
    Method: v = weight² · variance + (1 - weight)² · v before, from 0: time-varying, exact also
        where n differs from month to month.
    Example: 1, 1 with weight 0.1 → 0.01, 0.0181
    """
    given = np.asarray(variances, dtype=np.float64)
    found = np.empty_like(given)
    v = np.zeros(given.shape[1:])
    for month, now in enumerate(given):
        v = np.where(np.isnan(now), v, weight**2 * now + (1 - weight) ** 2 * v)
        found[month] = v
    return found


def ewma_half_width(
    times: ArrayLike, *, sigma: float, weight: float, width: float, is_asymptotic: bool = False
) -> Floats:
    """Half width of EWMA limits for equal variances.

    Args:
        times: 1 for the first value, and so on.
        sigma: standard deviation of one value.
        width: in sigma of the average (L).
        is_asymptotic: the width that is reached in the end, from the first value on.
    Method: width · sigma · sqrt(weight / (2 - weight) · (1 - (1 - weight)^(2t))).
    References: Lucas, Saccucci, Technometrics 1990; 32: 1-12.
    Example: t 1, sigma 1, weight 0.1, width 2.7 → 0.27
    """
    t = np.asarray(times, dtype=np.float64)
    grown = 1.0 if is_asymptotic else 1 - (1 - weight) ** (2 * t)
    return np.asarray(width * sigma * np.sqrt(weight / (2 - weight) * grown) + 0 * t)
