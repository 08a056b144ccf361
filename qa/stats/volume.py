"""Whether a month's number of exams is suddenly small against the months before it."""

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

POISSON_SD = 0.5
"""Standard deviation of the square root of a Poisson count, whatever its mean."""


def thin_bound(counts: ArrayLike, *, tail: float) -> float:
    """Number of exams below which a new month is thin.

    Args:
        counts: the months before, 2 or more; exams, not negative.
        tail: probability of a false call for a month like those before, for example 0.005.
    Returns: a bound in exams, 0 or more; a month with fewer is thin.
    Method: lower prediction limit on the square-root scale, where a count's spread hangs neither
        on its mean nor (once estimated) on how much busier than Poisson it is: mean minus Student's
        t times s times the root of 1 + 1/k; s is never taken below the Poisson value of 1/2.
    Weak when: the site grows or shrinks, or has a holiday month; with fewer than about 8 exams a
        month no number is thin. Poisson counts are called less often than `tail` says.
    References: Bartlett, Suppl J R Stat Soc 1936; 3: 68-78 (square root). Hahn & Meeker,
        Statistical Intervals, 1991, section 4.7 (prediction limit of one future value).
    Example: twelve months of 100 exams → 70.4 at a tail of 0.005
    """
    roots = np.sqrt(np.asarray(counts, dtype=np.float64))
    k = len(roots)
    spread = max(float(roots.std(ddof=1)), POISSON_SD)
    lower = float(roots.mean()) + stdtrit(k - 1, tail) * spread * np.sqrt(1 + 1 / k)
    return float(max(lower, 0.0) ** 2)


def longest_pause(has_exams: ArrayLike) -> int:
    """Longest run of days without an exam.

    Example: [True, False, False, True, False] → 2
    """
    filled = np.concatenate([[True], np.asarray(has_exams, dtype=bool), [True]])
    return int(np.diff(np.flatnonzero(filled)).max() - 1)


def chance_of_pause(has_exams: ArrayLike, weekdays: ArrayLike, *, pause: ArrayLike) -> float:
    """Probability that none of the days of a pause has an exam, by the habits of each weekday.

    Args:
        has_exams, weekdays: the days known, one entry each; weekdays 0 to 6.
        pause: weekdays of the days of the pause.
    Returns: a probability; a weekday that is not known says nothing.
    Weak when: closures come in blocks (holidays); longest_pause sees those of the days known.
    Example: work on every weekday and never at weekends, a pause of Saturday and Sunday → 1.0
    """
    has, week = np.asarray(has_exams, dtype=bool), np.asarray(weekdays, dtype=np.int64)
    days = np.bincount(week, minlength=7)
    worked = np.bincount(week[has], minlength=7)
    idle = np.where(days > 0, 1 - worked / np.maximum(days, 1), 1.0)
    return float(np.prod(idle[np.asarray(pause, dtype=np.int64)]))
