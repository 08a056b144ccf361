"""Do months of one unit differ by more than chance?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc


@dataclass(frozen=True)
class DispersionTest:
    """Observed variance over that of chance, its statistic, and the chance of as much.

    Args:
        ratio: 1 where chance explains the months.
        statistic: ratio times (months - 1); about chi-square with that many degrees.
        p: chance of as large a statistic.
    """

    ratio: float
    statistic: float
    p: float


def binomial_dispersion(n_events: ArrayLike, n: ArrayLike) -> DispersionTest:
    """Test whether shares differ by more than binomial chance.

    Args:
        n_events, n: events and exams of each month; two months or more, every n 1 or more.
    Method: Σ (x - n·p̄)² / (n·p̄·(1 - p̄)) over months - 1; with equal n this is the published
        ratio of the variance of counts to n·p̄·(1 - p̄).
    Weak when: expected events are below about 1 a month.
    References: Wetherill, Brown, Statistical Process Control, 1991, 212-213.
    Example: 30 samples of 50 with 386 events → ratio 0.764, p 0.81
    """
    x, size = np.asarray(n_events, dtype=np.float64), np.asarray(n, dtype=np.float64)
    x, size = np.broadcast_arrays(x, size)
    share = x.sum() / size.sum()
    return _test(x, size * share, 1 - share)


def poisson_dispersion(counts: ArrayLike, exposure: ArrayLike = 1.0) -> DispersionTest:
    """Test whether counts differ by more than Poisson chance.

    Args:
        counts: counts of each month; exposure: its size.
    Method, Weak when, References: as binomial_dispersion, pages 216-218.
    Example: 30 counts with mean 12.8 and variance 18.8 → ratio 1.472, p 0.049
    """
    x, size = np.broadcast_arrays(
        np.asarray(counts, dtype=np.float64), np.asarray(exposure, dtype=np.float64)
    )
    return _test(x, size * x.sum() / size.sum(), 1.0)


def _test(x: np.ndarray, expected: np.ndarray, rest: float) -> DispersionTest:
    degrees = len(x) - 1
    if degrees < 1 or not expected.all() or rest <= 0:
        return DispersionTest(float("nan"), float("nan"), float("nan"))
    statistic = float(((x - expected) ** 2 / (expected * rest)).sum())
    return DispersionTest(statistic / degrees, statistic, float(chdtrc(degrees, statistic)))
