"""What a change is made of: two rates of one population, or a figure of several factors."""

from collections.abc import Callable
from functools import cache
from itertools import combinations
from math import factorial
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike

Value = TypeVar("Value")


def kitagawa_parts(
    weights_before: ArrayLike,
    rates_before: ArrayLike,
    weights_after: ArrayLike,
    rates_after: ArrayLike,
) -> tuple[float, float]:
    """Difference of two rates as composition and rates; the parts add up to it exactly.

    Args: weights: shares of each kind, adding up to 1; rates: of each kind; shape (kinds,).
    Returns: (part of the composition, part of the rates), after less before.
    Weak when: a kind is missing in one period: its rate there is not known and must be stated.
    References: Kitagawa, JASA 1955; 50: 1168-1194.
    Example: weights [0.5, 0.5] → [0.2, 0.8] at rates [0.1, 0.3] in both → (0.06, 0)
    """
    w1, r1 = np.asarray(weights_before, float), np.asarray(rates_before, float)
    w2, r2 = np.asarray(weights_after, float), np.asarray(rates_after, float)
    return float(((w2 - w1) * (r1 + r2) / 2).sum()), float(((r2 - r1) * (w1 + w2) / 2).sum())


def share_out(figure: Callable[[tuple[bool, ...]], Value], n_factors: int) -> list[Value]:
    """Part of each factor in the change of a figure, averaged over all orders of change.

    Args:
        figure: the figure with each factor as before (False) or as after (True); numbers or
            arrays, which are taken element by element.
        n_factors: how many factors there are.
    Returns: one part for each factor; together figure(all after) - figure(all before).
    Weak when: factors work on each other strongly: each order then gives another part, and the
        mean of all hides that.
    References: Das Gupta, Standardization and Decomposition of Rates, US Bureau of the Census
        P23-186, 1993 (equal to the mean over all orders).
    Example: figure a × b from 2 × 3 to 4 × 5 → 8 and 6
    """

    @cache
    def seen(changed: frozenset[int]) -> Value:
        return figure(tuple(number in changed for number in range(n_factors)))

    parts = []
    for factor in range(n_factors):
        others = [number for number in range(n_factors) if number != factor]
        total = None
        for size in range(n_factors):
            weight = factorial(size) * factorial(n_factors - size - 1) / factorial(n_factors)
            for before in combinations(others, size):
                known = frozenset(before)
                gain = weight * (seen(known | {factor}) - seen(known))  # type: ignore[operator]
                total = gain if total is None else total + gain
        parts.append(total)
    return parts  # type: ignore[return-value]
