"""Charts for rare events: exams between them (g) and days between them (t)."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qa.stats.individuals import individuals_limits, mean_moving_range

Floats = NDArray[np.float64]

# Times between events of a Poisson process, to this power, are nearly normal.
POWER = 1 / 3.6


def g_chart_limits(mean_between: float, *, sigmas: float = 3.0) -> tuple[float, float]:
    """Limits of the number of exams without the event between two events.

    Args:
        mean_between: mean number of exams WITHOUT the event between two events, counted from
            0. Counting from 1 has another formula, g·(g - 1); mixing them is a known fault.
    Returns: (lcl, ucl); lcl is 0 where sigmas is 3.
    Method: g ± sigmas · sqrt(g · (g + 1)), the geometric distribution's standard deviation.
    Weak when: used to see a rise: events then come close together, and no point is below 0;
        g_probability_limits has a lower limit.
    References: Kaminsky et al., J Qual Technol 1992; 24: 63-69. Benneyan, Health Care Manag Sci
        2001; 4: 305-318.
    Example: 30 → (0, 121.49)
    """
    half = sigmas * np.sqrt(mean_between * (mean_between + 1))
    return max(0.0, float(mean_between - half)), float(mean_between + half)


def g_probability_limits(share: ArrayLike, *, tail: float = 0.00135) -> tuple[Floats, Floats]:
    """Exact limits of exams between events: outside has at most `tail` on its side.

    Args:
        share: share of exams with the event.
    Returns: (lcl, ucl) as counts from 0: ucl is the smallest k with P(K ≤ k) ≥ 1 - tail, lcl
        the largest k with P(K < k) ≤ tail.
    Example: share 0.0267, tail 0.00135 → (0, 244)
    """
    p = np.asarray(share, dtype=np.float64)
    upper = np.ceil(np.log(tail) / np.log1p(-p)) - 1
    lower = np.floor(np.log1p(-tail) / np.log1p(-p))
    return np.maximum(lower, 0.0), np.maximum(upper, 0.0)


def t_chart_limits(
    times: ArrayLike, *, d2: float | None = None, sigmas: float = 3.0
) -> tuple[float, float, float]:
    """Centre and limits of days (or hours) between rare events.

    Args:
        times: times between events of the baseline, above 0, in order.
        d2: as individuals_limits.
    Returns: (lcl, centre, ucl) in the unit of the times; lcl is 0 where it would be below.
    Method: an individuals chart of times^(1/3.6), taken back to times.
    Weak when: many exams a day at some times and none at others: g counts exams instead.
    References: Nelson, J Qual Technol 1994; 26: 239-240.
    Example: the twenty valve failures → (0, 430.0, 6937.9) hours
    """
    y = np.asarray(times, dtype=np.float64) ** POWER
    centre = float(y.mean())
    low, high = individuals_limits(centre, mean_moving_range(y), d2=d2, sigmas=sigmas)
    return max(0.0, low) ** (1 / POWER), centre ** (1 / POWER), high ** (1 / POWER)
