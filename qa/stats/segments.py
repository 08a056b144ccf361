"""Steps of a series: exact optimal partitioning, and a rank test for one step."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def step_places(
    series: ArrayLike, *, weights: ArrayLike | None = None, penalty: float
) -> list[int]:
    """Where the mean of a series steps: the partition with the least squares plus penalties.

    Args:
        series: values in order, shape (months,).
        weights: precision of each value, for example exams; None: all alike.
        penalty: what one more step must save in the weighted sum of squares.
    Returns: for each step the number of values before it, in order; empty: no step.
    Method: dynamic programme over all partitions, so the optimum is exact; dropping places that
        can never be best again (PELT) gives the same answer and is not needed for months.
    Weak when: the series drifts instead of stepping; several steps then stand for a slope.
    References: Jackson et al., IEEE Signal Process Lett 2005; Killick, Fearnhead and Eckley,
        JASA 2012; 107: 1590-1598.
    Example: 1, 1, 1, 5, 5, 5 at penalty 1 → [3]
    """
    x = np.asarray(series, float)
    w = np.ones(x.size) if weights is None else np.asarray(weights, float)
    sums = [np.concatenate([[0.0], np.cumsum(one)]) for one in (w, w * x, w * x * x)]
    best, last = np.full(x.size + 1, -penalty), np.zeros(x.size + 1, dtype=int)
    for end in range(1, x.size + 1):
        costs = best[:end] + _cost(sums, np.arange(end), end) + penalty
        last[end] = int(costs.argmin())
        best[end] = costs[last[end]]
    places, end = [], x.size
    while end and last[end]:
        end = int(last[end])
        places.append(end)
    return places[::-1]


def _cost(sums: list[Floats], start: NDArray[np.intp], end: int) -> Floats:
    """Weighted squares of the values from start up to end about their mean."""
    weight, first, second = (one[end] - one[start] for one in sums)
    mean_part = np.divide(first * first, weight, out=np.zeros_like(first), where=weight > 0)
    return np.asarray(np.maximum(second - mean_part, 0.0))


@dataclass(frozen=True)
class StepInterval:
    """Places as in step_places: first ≤ place ≤ last."""

    place: int
    first: int
    last: int


def step_interval(
    series: ArrayLike,
    place: int,
    *,
    variance: float,
    weights: ArrayLike | None = None,
    level: float = 0.9,
) -> StepInterval:
    """Where one step may have been: places within `level` of the likelihood of all.

    Args:
        series, weights: the values between the steps before and after this one.
        place: the step found. variance: of a value of weight 1 about its level.
    Weak when: values hang together: the interval is then too narrow.
    References: Smith, Biometrika 1975; 62: 407-416 (each place as likely beforehand).
    """
    x = np.asarray(series, float)
    w = np.ones(x.size) if weights is None else np.asarray(weights, float)
    sums = [np.concatenate([[0.0], np.cumsum(one)]) for one in (w, w * x, w * x * x)]
    starts: NDArray[np.intp] = np.arange(1, x.size, dtype=np.intp)
    left = np.array([_cost(sums, np.array([0]), int(end))[0] for end in starts])
    cost = left + _cost(sums, starts, x.size)
    likelihood = np.exp(-(cost - cost.min()) / (2 * max(variance, 1e-300)))
    below = np.cumsum(likelihood) / likelihood.sum()
    tail = (1 - level) / 2
    first = int(starts[int(np.searchsorted(below, tail, "right"))])
    last = int(starts[min(int(np.searchsorted(below, 1 - tail)), starts.size - 1)])
    return StepInterval(place, min(first, place), max(last, place))


@dataclass(frozen=True)
class RankStep:
    """statistic: Pettitt's K; place: number of values before the step."""

    statistic: int
    place: int
    p_value: float


def rank_step(series: ArrayLike) -> RankStep:
    """Pettitt's rank test for one step anywhere in a series.

    Args: series: values in order, shape (months,), two or more.
    Returns: RankStep; the p-value is Pettitt's approximation, 1 at most.
    Weak when: the step lies near an end; months hang together.
    References: Pettitt, Applied Statistics 1979; 28: 126-135.
    Example: 1, 2, 3, 11, 12, 13 → place 3
    """
    x = np.asarray(series, float)
    signs = np.sign(x[:, None] - x[None, :]).sum(axis=1)
    running = np.cumsum(signs)[:-1]
    place = int(np.abs(running).argmax())
    found = float(abs(running[place]))
    p_value = 2 * np.exp(-6 * found**2 / (x.size**3 + x.size**2))
    return RankStep(int(found), place + 1, float(min(p_value, 1.0)))
