"""Limits for counts: np-, c- and u-charts."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def np_chart_limits(
    centre: ArrayLike, n: ArrayLike, *, sigmas: float = 3.0
) -> tuple[Floats, Floats]:
    """Limits of an np-chart: events of a month instead of their share, for equal months.

    Args:
        centre: share of events in the baseline.
        n: exams of the month.
    Returns: (lcl, ucl) as numbers of events, not below 0 and not above n; nan where n is 0.
    Method: n · centre ± sigmas · sqrt(n · centre · (1 - centre)).
    Weak when: months have different n: the centre line then steps too and p reads better.
    References: Shewhart 1931; Montgomery, Introduction to Statistical Quality Control, 7.2.1.
    Example: centre 0.2313, n 50 → (2.62, 20.51)
    """
    share, total = _pair(centre, n)
    total = np.where(total > 0, total, np.nan)
    half = sigmas * np.sqrt(total * share * (1 - share))
    return np.maximum(total * share - half, 0.0), np.minimum(total * share + half, total)


def c_chart_limits(centre: ArrayLike, *, sigmas: float = 3.0) -> tuple[Floats, Floats]:
    """Limits of a c-chart: counts that have no upper end, at equal exposure.

    Args:
        centre: mean count of the baseline.
    Returns: (lcl, ucl), not below 0.
    Method: centre ± sigmas · sqrt(centre). A count exactly on a limit is inside.
    Weak when: counts are small (below about 5) or exposure differs; then exact limits, or u.
    References: NIST/SEMATECH e-Handbook 6.3.3.1.
    Example: centre 16 → (4, 28)
    """
    mean = np.asarray(centre, dtype=np.float64)
    half = sigmas * np.sqrt(mean)
    return np.maximum(mean - half, 0.0), mean + half


def u_chart_limits(
    centre: ArrayLike, exposure: ArrayLike, *, sigmas: float = 3.0
) -> tuple[Floats, Floats]:
    """Limits of a u-chart: counts per exam where an exam can hold several.

    Args:
        centre: counts per unit of exposure in the baseline.
        exposure: exams (or another size) of the month.
    Returns: (lcl, ucl) per unit of exposure, not below 0; nan where exposure is 0.
    Method: centre ± sigmas · sqrt(centre / exposure), each month by its own exposure.
    Weak when: counts within an exam go together, as measurements attempted do; then u′.
    References: Montgomery, Introduction to Statistical Quality Control, 7.3.
    Example: centre 1.93, exposure 5 → (0.07, 3.79)
    """
    rate, size = _pair(centre, exposure)
    half = sigmas * np.sqrt(rate / np.where(size > 0, size, np.nan))
    return np.maximum(rate - half, 0.0), rate + half


def _pair(first: ArrayLike, second: ArrayLike) -> tuple[Floats, Floats]:
    one, other = np.broadcast_arrays(
        np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    )
    return one, other
