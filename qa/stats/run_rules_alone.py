"""How long each published run rule runs by itself, and several together, when nothing changes."""

from collections.abc import Iterable
from functools import cache

import numpy as np
from scipy.special import ndtr

from qa.stats.run_rules import RUN_RULES
from qa.stats.run_rules_arl import run_rules_arl

_NODES = 80
_STEPS_OF_SIX, _TURNS_OF_FOURTEEN = 5, 12


def in_a_row_arl(chance: float, length: int) -> float:
    """Mean number of trials until `length` successes in a row.

    References: Feller, An Introduction to Probability Theory, volume 1, XIII.7.
    Example: 1/2, 8 → 510
    """
    return (1 - chance**length) / ((1 - chance) * chance**length)


@cache
def steady_arl() -> float:
    """Mean number of independent values until six in a row rise, or fall.

    Method: values as ranks between 0 and 1, since only their order counts; the equations of
        the run length at 80 midpoints, for each number of steps in a row so far.
    """
    return _start(_solve(_STEPS_OF_SIX - 1, is_alternating=False))


@cache
def alternating_arl() -> float:
    """Mean number of independent values until fourteen go up and down in turn; as steady_arl."""
    return _start(_solve(_TURNS_OF_FOURTEEN, is_alternating=True))


def _solve(depth: int, *, is_alternating: bool) -> np.ndarray:
    """Months still to go at each midpoint after a step up, by steps (or turns) in a row so far.

    A step down mirrors a step up, so only the latter is solved for.
    """
    upward = np.triu(np.ones((_NODES, _NODES)), 1) + np.eye(_NODES) / 2
    higher, lower = upward / _NODES, upward.T / _NODES
    down_as_up = lower[:, ::-1]
    on, off = (down_as_up, higher) if is_alternating else (higher, down_as_up)
    size = depth * _NODES
    chain = np.zeros((size, size))
    for level in range(depth):
        rows = slice(level * _NODES, (level + 1) * _NODES)
        chain[rows, :_NODES] += off
        if level + 1 < depth:
            chain[rows, (level + 1) * _NODES : (level + 2) * _NODES] += on
    return np.asarray(np.linalg.solve(np.eye(size) - chain, np.ones(size))[:_NODES])


def _start(after_step_up: np.ndarray) -> float:
    """From the first value on: a first step up ends anywhere above it, and down mirrors it."""
    ranks = (np.arange(_NODES) + 0.5) / _NODES
    return float(2 + 2 * (after_step_up * ranks).sum() / _NODES)


def rule_arl(key: str) -> float:
    """In-control run length of one published rule alone; values normal, standards known.

    Example: "western-electric-1" → 370.4; "nelson-2" → 255.5 either side
    """
    rule = RUN_RULES[key]
    if rule.pattern is not None:
        return run_rules_arl([rule.pattern])
    within = float(ndtr(1.0) - ndtr(-1.0))
    if key == "nelson-3":
        return steady_arl()
    if key == "nelson-4":
        return alternating_arl()
    return in_a_row_arl(within, 15) if key == "nelson-7" else in_a_row_arl(1 - within, 8)


def rules_rate(keys: Iterable[str]) -> float:
    """False calls a point of rules that are no k of m: at most the sum of their own rates."""
    return sum(1 / rule_arl(key) for key in set(keys) if RUN_RULES[key].pattern is None)
