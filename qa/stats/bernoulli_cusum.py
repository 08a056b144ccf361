"""CUSUM exam by exam: score by the likelihood of a worse rate, exact run lengths and limits."""

from math import log

import numpy as np


def bernoulli_scores(*, p0: float, odds_ratio: float) -> tuple[float, float]:
    """Scores of an event and of a non-event for a change of the odds by odds_ratio.

    Args:
        p0: rate when nothing has changed.
    Returns: (score of an event, score of a non-event): logarithms of the likelihood ratio.
    References: Page 1954; Steiner et al., Biostatistics 2000; 1: 441-452.
    Example: p0 0.1, odds ratio 2 → (0.5978, -0.0953)
    """
    changed = 1 - p0 + odds_ratio * p0
    return log(odds_ratio / changed), -log(changed)


def lattice_cusum_arl(*, p: float, m: int, steps: int) -> float:
    """Mean number of exams until a Bernoulli CUSUM on a lattice of 1/m reaches steps/m.

    Args:
        p: true rate of events.
        m: a non-event takes 1/m from the sum (not below 0), an event adds (m - 1)/m.
        steps: limit in units of 1/m.
    Method: exact, by solving for the run length at each point of the lattice.
    References: Reynolds, Stoumbos, J Qual Technol 1999; 31: 87-108.
    Example: p 0.1, m 7, steps 24 → 429.05
    """
    chain = np.zeros((steps, steps))
    for now in range(steps):
        chain[now, max(0, now - 1)] += 1 - p
        if now + m - 1 < steps:
            chain[now, now + m - 1] += p
    return float(np.linalg.solve(np.eye(steps) - chain, np.ones(steps))[0])


def limit_for_series(*, n: int, p0: float, odds_ratio: float, alpha: float) -> tuple[float, float]:
    """Limit that a series of n exams reaches by chance with a probability near alpha.

    Args:
        n: exams of the series, at most 22: all 2^n ways are listed.
        alpha: probability wanted; since outcomes are discrete the nearest one is taken.
    Returns: (limit, probability that the highest sum is at or above it).
    Method: complete enumeration.
    Weak when: n is large; then lattice_cusum_arl or simulation.
    Raises: ValueError when n is above 22.
    Example: n 10, p0 0.1, odds ratio 2, alpha 0.05 → (1.41227, 0.0511)
    """
    if n > 22:
        raise ValueError(f"{n} exams are too many to list all ways")
    event, other = bernoulli_scores(p0=p0, odds_ratio=odds_ratio)
    sums, highest, chance = np.zeros(1), np.zeros(1), np.ones(1)
    for _ in range(n):
        sums = np.maximum(0.0, np.concatenate([sums + event, sums + other]))
        highest = np.maximum(np.concatenate([highest, highest]), sums)
        chance = np.concatenate([chance * p0, chance * (1 - p0)])
    rounded = np.round(highest, 9)
    place = np.unique(rounded, return_inverse=True)[1]
    beyond = np.cumsum(np.bincount(place, weights=chance)[::-1])[::-1]
    best = int(np.argmin(np.abs(beyond - alpha)))
    return float(highest[place == best].max()), float(beyond[best])
