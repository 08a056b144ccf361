"""How long a Shewhart chart with run rules runs before it calls (average run length)."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Floats = NDArray[np.float64]
State = tuple[tuple[bool, ...], ...]


@dataclass(frozen=True)
class KOfM:
    """k of m points in a row beyond so many sigma, on the same side."""

    k: int
    m: int
    sigmas: float


# The four rules of Western Electric 1956, and Nelson's nine in a row of 1984.
WESTERN_ELECTRIC_1 = KOfM(1, 1, 3.0)
WESTERN_ELECTRIC_2 = KOfM(2, 3, 2.0)
WESTERN_ELECTRIC_3 = KOfM(4, 5, 1.0)
WESTERN_ELECTRIC_4 = KOfM(8, 8, 0.0)
NELSON_2 = KOfM(9, 9, 0.0)


@dataclass(frozen=True)
class RunChain:
    """All that some rules can remember of the past, ready to be asked of any distribution.

    edges: values at which a rule's flag turns, rising. zones: one representative for each open
    interval between edges and, between them, each edge itself: 2 · edges + 1. moves: (from, zone,
    to) between states; what is missing is a call.
    """

    edges: tuple[float, ...]
    n_states: int
    moves: NDArray[np.int64]

    def run_length(self, chances: Floats) -> float:
        """Mean number of independent values until a call.

        Args: chances: of each zone, in their order.
        Returns: months; infinite where nothing ever calls.
        """
        chain = np.zeros((self.n_states, self.n_states))
        start, zone, end = self.moves.T
        np.add.at(chain, (start, end), chances[zone])
        if np.allclose(chain.sum(axis=1), 1.0, atol=1e-13):
            return float("inf")
        lengths = np.linalg.solve(np.eye(self.n_states) - chain, np.ones(self.n_states))
        return float(lengths[0])

    def normal_run_length(self, *, shift: float = 0.0, width: float = 1.0) -> float:
        """As run_length for values that are normal around `shift` with a spread of `width`."""
        below = ndtr((np.array(self.edges) - shift) / width)
        inner = np.diff([0.0, *below, 1.0])
        chances = np.zeros(2 * len(self.edges) + 1)
        chances[::2] = inner
        return self.run_length(chances)


def run_chain(rules: Sequence[KOfM]) -> RunChain:
    """The chain of some rules of k of m in a row on one side; at least one rule.

    Method, References: as run_rules_arl.
    """
    return _run_chain(tuple(rules))


@cache
def _run_chain(rules: tuple[KOfM, ...]) -> RunChain:
    edges = sorted({sign * rule.sigmas for rule in rules for sign in (1.0, -1.0)} | {0.0})
    zones = [edges[0] - 1.0]
    for low, high in pairwise([*edges, edges[-1] + 2.0]):
        zones += [low, (low + high) / 2]
    numbers, moves = _walk(rules, zones)
    return RunChain(tuple(edges), len(numbers), np.array(moves, dtype=np.int64).reshape(-1, 3))


def run_rules_arl(rules: Sequence[KOfM], *, shift: float = 0.0) -> float:
    """Mean number of normal values until the first of the rules calls, on either side.

    Args:
        rules: rules of k of m in a row on one side.
        shift: mean of the values in sigma; 0 when nothing has changed.
    Method: an exact Markov chain whose state is what of the past can still matter: for each
        rule and side the places of earlier points beyond, those dropped that cannot complete it.
    Weak when: values are not normal: then RunChain.run_length with their own chances.
    References: Champ, Woodall, Technometrics 1987; 29: 393-399.
    Example: rules 1 and 4 of 1956 → 152.73
    """
    return run_chain(rules).normal_run_length(shift=shift)


def _walk(
    rules: Sequence[KOfM], values: Sequence[float]
) -> tuple[dict[State, int], list[tuple[int, int, int]]]:
    """All states that can be reached, numbered from the first, and the moves between them."""
    first: State = tuple((False,) * (rule.m - 1) for rule in rules for _ in (1, -1))
    numbers, moves, waiting = {first: 0}, [], [first]
    while waiting:
        state = waiting.pop()
        for zone, value in enumerate(values):
            later = _after(state, value, rules)
            if later is None:
                continue
            if later not in numbers:
                numbers[later] = len(numbers)
                waiting.append(later)
            moves.append((numbers[state], zone, numbers[later]))
    return numbers, moves


def _after(state: State, value: float, rules: Sequence[KOfM]) -> State | None:
    """The state after one more value; None where a rule calls."""
    parts = []
    for place, past in enumerate(state):
        rule, sign = rules[place // 2], 1 if place % 2 == 0 else -1
        newest = value * sign > rule.sigmas
        points = (newest, *past)
        if newest and sum(points) >= rule.k:
            return None
        parts.append(_kept(points[: rule.m - 1], rule))
    return tuple(parts)


def _kept(points: tuple[bool, ...], rule: KOfM) -> tuple[bool, ...]:
    """Points, newest first, without those that no future can use to complete the rule."""
    kept = list(points)
    for age in range(len(points), 0, -1):
        can_help = any(
            sum(kept[: rule.m - future]) + future >= rule.k for future in range(1, rule.m - age + 1)
        )
        if not can_help:
            kept[age - 1] = False
    return tuple(kept)
