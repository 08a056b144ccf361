"""p′ and u′: limits that allow for months which differ by more than chance."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qa.stats.constants import chart_constants

Floats = NDArray[np.float64]

# A moving range above this many mean moving ranges is left out by software that screens them.
SCREEN = 3.267

# d2 of two values as printed; the exact figure moves sigma_z in the fourth digit.
PRINTED_D2 = 1.128


def sigma_z(z: ArrayLike, *, is_screened: bool = False, d2: float | None = None) -> float:
    """How much more than chance neighbouring months differ; 1 where chance explains all.

    Args:
        z: distance of each month of the baseline from the centre line, in standard errors of
            its own n, in the order of time; two or more.
        is_screened: leave out moving ranges above 3.267 times their mean, once. The definition
            of 2002 does not. The trap: one widely used library screens by default and gives
            0.853 where the definition gives 0.966, and so tighter limits.
        d2: mean range of two values; the exact one unless given.
    Returns: mean moving range of z divided by d2; nan for fewer than two months.
    Weak when: there are fewer than about 20 months: its own standard error is then large.
    References: Laney, Quality Engineering 2002; 14: 531-537. Screening: Nelson, J Qual Technol
        1982; 14: 172-173.
    Example: z 0, 1, 0, 1 → 0.886
    """
    ranges = np.abs(np.diff(np.asarray(z, dtype=np.float64)))
    if is_screened and len(ranges):
        ranges = ranges[ranges <= SCREEN * ranges.mean()]
    if not len(ranges):
        return float("nan")
    return float(ranges.mean() / (d2 or chart_constants(2).d2))


def p_prime_limits(
    centre: ArrayLike, n: ArrayLike, *, sigma_z: ArrayLike, sigmas: float = 3.0
) -> tuple[Floats, Floats]:
    """Limits of a p′-chart: those of the p-chart, widened by sigma_z.

    Args:
        centre, n: as p_chart_limits.
        sigma_z: of the baseline. Below 1 limits are tighter than chance allows: this tool
            asks for 1 or more, because a short baseline often gives less by luck.
    Returns: (lcl, ucl) clipped to 0 to 1; nan where n is 0.
    Method: centre ± sigmas · sigma_z · sqrt(centre · (1 - centre) / n).
    Weak when: events are rare: the normal curve does not fit whatever sigma_z is.
    References: Laney, Quality Engineering 2002; 14: 531-537.
    Example: centre 0.9529, n 280443, sigma_z 10.64 → (0.9401, 0.9657)
    """
    share, size = np.asarray(centre, dtype=np.float64), np.asarray(n, dtype=np.float64)
    half = (
        sigmas
        * np.asarray(sigma_z, dtype=np.float64)
        * np.sqrt(share * (1 - share) / np.where(size > 0, size, np.nan))
    )
    return np.clip(share - half, 0.0, 1.0), np.clip(share + half, 0.0, 1.0)


def u_prime_limits(
    centre: ArrayLike, exposure: ArrayLike, *, sigma_z: ArrayLike, sigmas: float = 3.0
) -> tuple[Floats, Floats]:
    """Limits of a u′-chart: those of the u-chart, widened by sigma_z.

    Args, Weak when, References: as p_prime_limits, with exposure for n.
    Returns: (lcl, ucl), not below 0; nan where exposure is 0.
    Example: centre 1.423, exposure 10, sigma_z 0.679 → (0.655, 2.192)
    """
    rate, size = np.asarray(centre, dtype=np.float64), np.asarray(exposure, dtype=np.float64)
    half = (
        sigmas
        * np.asarray(sigma_z, dtype=np.float64)
        * np.sqrt(rate / np.where(size > 0, size, np.nan))
    )
    return np.maximum(rate - half, 0.0), rate + half
