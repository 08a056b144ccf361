"""Run rules of 1956 and 1984, each exactly as published, for many series in one array."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qa.stats.run_rules_arl import (
    NELSON_2,
    WESTERN_ELECTRIC_1,
    WESTERN_ELECTRIC_2,
    WESTERN_ELECTRIC_3,
    WESTERN_ELECTRIC_4,
    KOfM,
)
from qa.stats.runs import run_lengths

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class RunRule:
    """One published rule.

    Args:
        key: set and number, for example "western-electric-4".
        sentence: what it says.
        finds: (z, segments) → True where the rule calls at that point.
        pattern: the rule as k of m on one side; None where it is none of these.
    """

    key: str
    sentence: str
    finds: Callable[[Floats, Ints], Bools]
    pattern: KOfM | None = None

    @property
    def title(self) -> str:
        """Example: "Western Electric 4"."""
        words, _, number = self.key.rpartition("-")
        return f"{words.replace('-', ' ').title()} {number}"


def k_of_m(flags: Bools, segments: Ints, *, k: int, m: int) -> Bools:
    """True where a flagged point completes k flagged ones among the last m of its segment.

    Example: flags T F T T, k 2, m 3 → F F T T
    """
    hits = flags.astype(np.int64)
    for back in range(1, min(m, len(flags))):
        hits[back:] += flags[:-back] & (segments[back:] == segments[:-back])
    return flags & (hits >= k)


def _either_side(flags_of: Callable[[Floats], Bools], *, k: int, m: int) -> Callable:
    """k of m points on the same side, the newest among them."""

    def finds(z: Floats, segments: Ints) -> Bools:
        up, down = flags_of(z), flags_of(-z)
        return k_of_m(up, segments, k=k, m=m) | k_of_m(down, segments, k=k, m=m)

    return finds


def _beyond(sigmas: float) -> Callable[[Floats], Bools]:
    return lambda z: z > sigmas


def _steady(z: Floats, segments: Ints) -> Bools:
    """Six points, each higher (or each lower) than the one before; a tie ends the run."""
    return _steps_in_a_row(np.sign(_steps(z, segments)), segments, length=5)


def _alternating(z: Floats, segments: Ints) -> Bools:
    """Fourteen points that go up and down in turn."""
    steps = np.sign(_steps(z, segments))
    turned = np.zeros(len(z), dtype=bool)
    turned[1:] = (steps[1:] * steps[:-1] < 0) & (segments[1:] == segments[:-1])
    return run_lengths(turned, segments) >= 12


def _steps(z: Floats, segments: Ints) -> Floats:
    """Difference from the point before; 0 at the first point of a segment."""
    steps = np.zeros(len(z))
    same = segments[1:] == segments[:-1]
    steps[1:][same] = (z[1:] - z[:-1])[same]
    return steps


def _steps_in_a_row(signs: Floats, segments: Ints, *, length: int) -> Bools:
    up, down = run_lengths(signs > 0, segments), run_lengths(signs < 0, segments)
    return (up >= length) | (down >= length)


def _near(z: Floats, segments: Ints) -> Bools:
    return run_lengths(np.abs(z) < 1, segments) >= 15


def _far(z: Floats, segments: Ints) -> Bools:
    return run_lengths(np.abs(z) > 1, segments) >= 8


def _k_of_m(pattern: KOfM) -> Callable[[Floats, Ints], Bools]:
    return _either_side(_beyond(pattern.sigmas), k=pattern.k, m=pattern.m)


def _pattern_rule(key: str, sentence: str, pattern: KOfM) -> RunRule:
    return RunRule(key, sentence, _k_of_m(pattern), pattern)


_OUTSIDE = ("One point beyond three sigma.", WESTERN_ELECTRIC_1)
_TWO = ("Two of three beyond two sigma, same side.", WESTERN_ELECTRIC_2)
_FOUR = ("Four of five beyond one sigma, same side.", WESTERN_ELECTRIC_3)
_EIGHT = ("Eight in a row on one side of the centre.", WESTERN_ELECTRIC_4)
_NINE = ("Nine in a row on one side of the centre.", NELSON_2)

# References: Western Electric Company, Statistical Quality Control Handbook, 1956, 25-28.
WESTERN_ELECTRIC: tuple[RunRule, ...] = (
    _pattern_rule("western-electric-1", *_OUTSIDE),
    _pattern_rule("western-electric-2", *_TWO),
    _pattern_rule("western-electric-3", *_FOUR),
    _pattern_rule("western-electric-4", *_EIGHT),
)

# References: Nelson, J Qual Technol 1984; 16: 237-239.
NELSON: tuple[RunRule, ...] = (
    _pattern_rule("nelson-1", *_OUTSIDE),
    _pattern_rule("nelson-2", *_NINE),
    RunRule("nelson-3", "Six in a row, each higher or each lower than before.", _steady),
    RunRule("nelson-4", "Fourteen in a row going up and down in turn.", _alternating),
    _pattern_rule("nelson-5", *_TWO),
    _pattern_rule("nelson-6", *_FOUR),
    RunRule("nelson-7", "Fifteen in a row within one sigma of the centre.", _near),
    RunRule("nelson-8", "Eight in a row beyond one sigma, on either side.", _far),
)

RUN_RULES: dict[str, RunRule] = {rule.key: rule for rule in (*WESTERN_ELECTRIC, *NELSON)}
