"""What the baselines of peers say about a unit whose own baseline is thin."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# Fewer peers than this say nothing about how units differ.
MIN_PEERS = 5

# Peers never count for more than this many exams of the unit's own.
MOST_EXAMS = 400.0

_LEAST_WEIGHT = 0.5


def peer_priors(
    n_events: ArrayLike, n: ArrayLike, groups: ArrayLike, ends: ArrayLike
) -> tuple[Floats, Floats]:
    """How many exams of its own the peers of each unit are worth, and how many were events.

    Where units hardly differ, their shares together tell more about one of them than its own
    hundred exams; where they differ much, they tell next to nothing.

    Args:
        n_events, n: events and exams of each unit's baseline; every n 1 or more.
        groups: number of the group of peers that a unit belongs to.
        ends: number of the month in which its baseline ended. Only peers whose baseline ended
            no later are asked, so that a later baseline never changes an earlier judgement.
    Returns: (event weights, weights of the others), each at least 0.5; both 0.5 (Jeffreys)
        where there are fewer than five peers or no difference to learn from.
    Method: moments of the beta-binomial, each unit weighted by its exams; the strength
        1 / rho - 1 is held at 400 exams or less.
    Weak when: one unit differs strongly; the spread then looks wide and peers count for little.
    References: Kleinman, J Am Stat Assoc 1973; 68: 46-54.
    Example: 2, 4, 6, 8, 10 events of 100 each → weights 7.6 and 119.4 for each
    """
    x, size, group, end = (
        np.asarray(one, dtype=np.float64).ravel() for one in (n_events, n, groups, ends)
    )
    order = np.lexsort((end, group))
    code = group[order] * (end.max(initial=0) + 1) + end[order]
    last = np.searchsorted(code, code, side="right") - 1
    start = np.searchsorted(group[order], group[order], side="left")
    sums = [
        _sums_to(part[order], start, last)
        for part in (np.ones_like(x), x, size, size**2, x**2 / np.where(size > 0, size, 1))
    ]
    mean, strength = _moments(*sums)
    events, others = np.empty_like(x), np.empty_like(x)
    events[order] = np.maximum(mean * strength, _LEAST_WEIGHT)
    others[order] = np.maximum((1 - mean) * strength, _LEAST_WEIGHT)
    return events, others


def _sums_to(part: Floats, start: NDArray[np.intp], last: NDArray[np.intp]) -> Floats:
    """Sum from the group's first unit to the last one that ended in the same month."""
    sums = np.concatenate([[0.0], np.cumsum(part)])
    return np.asarray(sums[last + 1] - sums[start])


def _moments(
    units: Floats, x: Floats, size: Floats, size_squared: Floats, x_squared: Floats
) -> tuple[Floats, Floats]:
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = x / size
        between = (x_squared - x**2 / size) / (units - 1)
        typical_n = (size - size_squared / size) / (units - 1)
        chance = mean * (1 - mean)
        rho = (between - chance) / ((typical_n - 1) * chance)
        strength = 1 / np.clip(rho, 1 / (MOST_EXAMS + 1), 1) - 1
    is_known = (units >= MIN_PEERS) & np.isfinite(strength)
    return np.where(is_known, mean, 0.5), np.where(is_known, strength, 0.0)
