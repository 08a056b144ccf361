"""How well measurements agree: differences, their limits, the scatter within one subject."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtrit

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Agreement:
    """Differences of pairs. Intervals are (lower, upper); nan where there are fewer than two pairs.

    Args:
        n: pairs. mean, sd: of the differences; mean_interval: of the mean.
        lower, upper: limits of agreement, each with its interval.
        se_mean, se_limit: standard errors.
    """

    n: int
    mean: float
    sd: float
    mean_interval: tuple[float, float]
    lower: float
    lower_interval: tuple[float, float]
    upper: float
    upper_interval: tuple[float, float]
    se_mean: float
    se_limit: float


def limits_of_agreement(
    differences: ArrayLike, *, level: float = 0.95, multiplier: float | None = None
) -> Agreement:
    """Mean difference and limits of agreement, with their intervals.

    Args:
        differences: one for each pair, all taken the same way round.
        level: share of differences within the limits, and confidence of the intervals.
        multiplier: standard deviations from mean to limit; the paper of 1986 prints 2 (None: the
            normal quantile, 1.96).
    Returns: Agreement.
    Method: mean ± multiplier · sd; standard errors sd/√n and √(3/n)·sd; t with n - 1 degrees.
    Weak when: the difference grows with the size (take logarithms or split by size), or one subject
        gives several pairs (the intervals are then too narrow).
    References: Bland and Altman, Lancet 1986; i: 307-310.
    """
    d = np.asarray(differences, dtype=np.float64)
    n = len(d)
    mean = float(d.mean()) if n else float("nan")
    sd = float(d.std(ddof=1)) if n > 1 else float("nan")
    times = float(ndtri((1 + level) / 2)) if multiplier is None else multiplier
    t = float(stdtrit(n - 1, (1 + level) / 2)) if n > 1 else float("nan")
    se_mean = sd / np.sqrt(n) if n else float("nan")
    se_limit = float(np.sqrt(3) * se_mean)

    def around(middle: float, se: float) -> tuple[float, float]:
        return middle - t * se, middle + t * se

    lower, upper = mean - times * sd, mean + times * sd
    return Agreement(
        n=n,
        mean=mean,
        sd=sd,
        mean_interval=around(mean, float(se_mean)),
        lower=lower,
        lower_interval=around(lower, se_limit),
        upper=upper,
        upper_interval=around(upper, se_limit),
        se_mean=float(se_mean),
        se_limit=se_limit,
    )


def within_subject_sd(subjects: ArrayLike, values: ArrayLike) -> float:
    """Scatter of repeated measurements of one subject, pooled over subjects.

    Args:     subjects, values: same length; a subject with one value says nothing.
    Returns:  square root of the within mean square; nan without a repeated subject.
    Weak when: the scatter grows with the value: then within_subject_cv says more.
    References: Bland and Altman, BMJ 1996; 313: 744.
    Example:  subject a 10, 12; b 20, 20 → 1.0
    """
    sums = [((v - v.mean()) ** 2).sum() for v in _by_subject(subjects, values)]
    freedom = sum(len(v) - 1 for v in _by_subject(subjects, values))
    return float(np.sqrt(sum(sums) / freedom)) if freedom else float("nan")


def within_subject_cv(subjects: ArrayLike, values: ArrayLike) -> float:
    """Scatter of repeated measurements as a share of the subject's mean (root mean square).

    Args:     subjects, values: same length; values above 0. A subject with one value says nothing.
    Returns:  a share; nan without a repeated subject.
    Method:   square root of the mean of (sd / mean)², subjects weighted by degrees of freedom.
    Weak when: single subjects have two values only and there are few of them.
    References: Bland JM, How should I calculate a within-subject coefficient of variation? (2006).
    Example:  subject a 10, 12; b 20, 20 → 0.0909
    """
    groups = _by_subject(subjects, values)
    freedom = sum(len(v) - 1 for v in groups)
    if not freedom:
        return float("nan")
    squares = sum((len(v) - 1) * (v.std(ddof=1) / v.mean()) ** 2 for v in groups)
    return float(np.sqrt(squares / freedom))


def repeatability_coefficient(sd: float, *, level: float = 0.95) -> float:
    """What two measurements of one subject differ by at most in `level` of pairs.

    Method: √2 · normal quantile · within-subject sd (2.77 times at 95 %).
    References: Bland and Altman, BMJ 1996; 312: 1654. ISO 5725-6 (2.8 times, rounded).
    Example: 15.3067 → 42.43
    """
    return float(np.sqrt(2) * ndtri((1 + level) / 2) * sd)


def _by_subject(subjects: ArrayLike, values: ArrayLike) -> list[Floats]:
    who, x = np.asarray(subjects), np.asarray(values, dtype=np.float64)
    groups = (x[who == one] for one in np.unique(who))
    return [group for group in groups if len(group) > 1]
