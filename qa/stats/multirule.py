"""Multirules for control materials, named as published."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Multirule:
    """One rule. needs: values in a row that it looks at; text: as published, in plain words."""

    name: str
    needs: int
    text: str


MULTIRULES = (
    Multirule("1_2s", 1, "one value beyond 2 standard deviations: a warning, look at the others"),
    Multirule("1_3s", 1, "one value beyond 3 standard deviations"),
    Multirule("2_2s", 2, "two values in a row beyond the same 2 standard deviations"),
    Multirule("R_4s", 2, "one value above +2 and its neighbour below -2 standard deviations"),
    Multirule("4_1s", 4, "four values in a row beyond the same 1 standard deviation"),
    Multirule("10_x", 10, "ten values in a row on one side of the mean"),
)
"""References: Westgard, Barry, Hunt and Groth, Clin Chem 1981; 27: 493-501."""
WARNING_RULE = "1_2s"


def rules_broken(z: Sequence[float] | Floats) -> tuple[str, ...]:
    """Rules that the last of some values breaks, together with those before it.

    Args:     z: distances from the baseline's mean in its standard deviations, in order of time.
    Returns:  names of MULTIRULES, in their order; empty where there is no value.
    Weak when: mean and standard deviation come from few sessions: all rules then call more often.
    References: Westgard, Barry, Hunt and Groth, Clin Chem 1981; 27: 493-501. R_4s as in 1981: one
        value beyond +2 and one beyond -2, and not any two that lie 4 apart.
    Example:  0.1, 2.1, 2.3 → ("1_2s", "2_2s")
    """
    x = np.asarray(z, dtype=np.float64)
    return tuple(one.name for one in MULTIRULES if len(x) >= one.needs and _breaks(one, x))


def _breaks(rule: Multirule, x: Floats) -> bool:
    last = x[-rule.needs :]
    if rule.name == "R_4s":
        return bool(last.max() > 2 and last.min() < -2)
    limit = {"1_2s": 2.0, "1_3s": 3.0, "2_2s": 2.0, "4_1s": 1.0, "10_x": 0.0}[rule.name]
    return bool((last > limit).all() or (last < -limit).all())
