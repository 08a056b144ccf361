"""Does a series rise or fall? Mann-Kendall test with Sen's slope."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

FEWEST = 4
"""With three values or fewer no order of them is unlikely enough to be called."""


@dataclass(frozen=True)
class Trend:
    """score: rising pairs less falling ones; slope: Sen's, units a step; z with continuity."""

    score: int
    variance: float
    z: float
    p_value: float
    slope: float


def mann_kendall(series: ArrayLike) -> Trend:
    """Mann-Kendall test for a steady rise or fall, two-sided, ties allowed for, and Sen's slope.

    Args: series: values in order of time, evenly spaced, shape (months,), two or more.
    Returns: Trend; z 0 and p_value 1 below FEWEST values or where all are equal.
    Weak when: months hang together or seasons recur (it then calls too often); it sees no change
        that comes back.
    References: Mann, Econometrica 1945; Kendall, Rank Correlation Methods, 1975; Sen, JASA 1968.
    Example: 1, 2, 3, 4 → score 6, slope 1
    """
    x = np.asarray(series, float)
    n = x.size
    early, late = np.triu_indices(n, 1)
    steps = x[late] - x[early]
    score = int(np.sign(steps).sum())
    _, ties = np.unique(x, return_counts=True)
    variance = float((n * (n - 1) * (2 * n + 5) - (ties * (ties - 1) * (2 * ties + 5)).sum()) / 18)
    z = 0.0
    if n >= FEWEST and variance > 0:
        z = (score - np.sign(score)) / np.sqrt(variance)
    return Trend(
        score,
        variance,
        float(z),
        float(2 * ndtr(-abs(z))),
        float(np.median(steps / (late - early))),
    )
