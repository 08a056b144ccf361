"""Robust mean and spread of what participants of a round report."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

FACTOR = 1.134
"""As printed in ISO 13528; exactly 1.13339 (it makes s* right for a normal curve)."""
REACH = 1.5
START = 1.483


@dataclass(frozen=True)
class Consensus:
    """Robust mean and standard deviation; uncertainty: standard one, of the mean.

    steps: means and standard deviations from the start on.
    """

    mean: float
    sd: float
    n: int
    steps: tuple[tuple[float, float], ...]

    @property
    def uncertainty(self) -> float:
        return 1.25 * self.sd / float(np.sqrt(self.n)) if self.n else float("nan")


def algorithm_a(
    results: ArrayLike,
    *,
    factor: float = FACTOR,
    max_steps: int = 1000,
    third_figure: bool = False,
) -> Consensus:
    """Robust mean and standard deviation that a few far results hardly move.

    Args:
        results: one for each participant, at least 1.
        factor: 1.134 as printed.
        third_figure: stop as the standard says, when the third figure of both changes no more;
            otherwise go on to convergence.
    Returns: Consensus.
    Raises: ValueError without results.
    Method: from the median and 1.483 times the median distance from it: draw results beyond
        1.5 s* in to there, take mean and 1.134 times the standard deviation, again.
    Weak when: there are fewer than some eight participants, or more than a quarter are far off;
        the median distance may then be 0 and so stays s*.
    References: ISO 13528:2022, annex C.3.1; ISO 5725-5:1998.
    """
    x = np.asarray(results, dtype=np.float64)
    if not len(x):
        raise ValueError("no results")
    mean = float(np.median(x))
    sd = float(START * np.median(np.abs(x - mean)))
    if sd == 0 and len(x) > 1:  # More than half are equal: annex C.3.1, note, starts from the sd.
        sd = float(x.std(ddof=1))
    steps = [(mean, sd)]
    for _ in range(max_steps if len(x) > 1 else 0):
        drawn_in = np.clip(x, mean - REACH * sd, mean + REACH * sd)
        before = mean, sd
        mean, sd = float(drawn_in.mean()), float(factor * drawn_in.std(ddof=1))
        steps.append((mean, sd))
        if third_figure and _same_third_figure(before, (mean, sd)):
            break
        if max(abs(mean - before[0]), abs(sd - before[1])) <= 1e-13 * max(1.0, abs(mean)):
            break
    return Consensus(mean, sd, len(x), tuple(steps))


def _same_third_figure(before: tuple[float, float], now: tuple[float, float]) -> bool:
    """Third figure of the standard deviation, and the mean in the same decimal."""
    place = 2 - int(np.floor(np.log10(now[1]))) if now[1] else 12
    return all(
        round(one, place) == round(other, place) for one, other in zip(before, now, strict=True)
    )
