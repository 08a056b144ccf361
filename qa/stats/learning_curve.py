"""Learning-curve CUSUM: calls when a newcomer has shown that results are good enough."""

from math import log

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qa.stats.cusum import score_cusum

Floats = NDArray[np.float64]


def learning_scores(*, acceptable: float, unacceptable: float) -> tuple[float, float]:
    """Scores of an exam that failed the rule and of one that kept it.

    Args:
        acceptable: share of failures that is good enough.
        unacceptable: share that is not; larger than acceptable.
    Returns: (score of a failure, below 0; score of a success, above 0).
    Raises: ValueError unless 0 < acceptable < unacceptable < 1.
    References: Biau, Porcher, Stat Med 2010; 29: 1900-1909 (by formula; no printed limit was
        at hand).
    Example: 0.1 and 0.2 → (-0.693, 0.118)
    """
    if not 0 < acceptable < unacceptable < 1:
        raise ValueError("needs 0 < acceptable < unacceptable < 1")
    return log(acceptable / unacceptable), log((1 - acceptable) / (1 - unacceptable))


def learning_cusum(failures: ArrayLike, *, acceptable: float, unacceptable: float) -> Floats:
    """Evidence, exam by exam, that the share of failures is good enough.

    Args:
        failures: 1 or 0 for each exam of one newcomer, in order.
        acceptable, unacceptable: as learning_scores.
    Returns: sums, 0 or more; a sum at the limit says that competence is shown.
    Method: sum of scores, not below 0. The limit is set by learning_limit.
    Weak when: patients are chosen to be easy for newcomers.
    Example: failure, then eleven successes at 0.1 and 0.2 → 1.296
    """
    failed, kept = learning_scores(acceptable=acceptable, unacceptable=unacceptable)
    is_failure = np.asarray(failures, dtype=bool)
    return score_cusum(np.where(is_failure, failed, kept))


def learning_limit(
    *, acceptable: float, unacceptable: float, n: int, wrongly: float, steps: int = 200
) -> float:
    """Limit that an unacceptable newcomer reaches within n exams with probability `wrongly`.

    Args:
        n: exams of the period of learning.
        wrongly: probability, for example 0.05.
        steps: lattice steps of one success; more is finer.
    Method: the sum on a lattice, its distribution carried from exam to exam; the limit is the
        smallest lattice point that is passed with at most that probability.
    Weak when: a newcomer changes while learning; the probability is for a constant rate.
    """
    failed, kept = learning_scores(acceptable=acceptable, unacceptable=unacceptable)
    down = round(-failed / kept * steps)
    low, high = 0, n * steps
    while high - low > 1:
        middle = (low + high) // 2
        if _passes(middle, down, steps, n, unacceptable) > wrongly:
            low = middle
        else:
            high = middle
    return high * kept / steps


def _passes(limit: int, down: int, up: int, n: int, share: float) -> float:
    """Probability that the sum reaches the limit within n exams."""
    chance = np.zeros(max(limit, 1))
    chance[0] = 1.0
    for _ in range(n):
        later = np.zeros_like(chance)
        later[up:] += chance[: len(chance) - up] * (1 - share) if up < len(chance) else 0.0
        fallen = np.maximum(np.arange(len(chance)) - down, 0)
        np.add.at(later, fallen, chance * share)
        chance = later
    return float(1 - chance.sum())
