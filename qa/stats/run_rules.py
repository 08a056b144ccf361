"""Run rules of 1956 and 1984, each exactly as published, for many series in one array."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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
        arl: mean number of points until this rule alone calls by chance, normal values; None
            where the source gives none and it has not been worked out here.
        finds: (z, segments) → True where the rule calls at that point.
    """

    key: str
    sentence: str
    arl: float | None
    finds: Callable[[Floats, Ints], Bools]


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


def _same_side(length: int) -> Callable[[Floats, Ints], Bools]:
    return _either_side(_beyond(0.0), k=length, m=length)


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


_OUTSIDE = ("One point beyond three sigma.", 370.40, _either_side(_beyond(3.0), k=1, m=1))
_TWO = ("Two of three beyond two sigma, same side.", None, _either_side(_beyond(2.0), k=2, m=3))
_FOUR = ("Four of five beyond one sigma, same side.", None, _either_side(_beyond(1.0), k=4, m=5))

# References: Western Electric Company, Statistical Quality Control Handbook, 1956, 25-28.
WESTERN_ELECTRIC: tuple[RunRule, ...] = (
    RunRule("western-electric-1", *_OUTSIDE),
    RunRule("western-electric-2", *_TWO),
    RunRule("western-electric-3", *_FOUR),
    RunRule(
        "western-electric-4", "Eight in a row on one side of the centre.", 255.0, _same_side(8)
    ),
)

# References: Nelson, J Qual Technol 1984; 16: 237-239.
NELSON: tuple[RunRule, ...] = (
    RunRule("nelson-1", *_OUTSIDE),
    RunRule("nelson-2", "Nine in a row on one side of the centre.", 511.0, _same_side(9)),
    RunRule("nelson-3", "Six in a row, each higher or each lower than before.", None, _steady),
    RunRule("nelson-4", "Fourteen in a row going up and down in turn.", None, _alternating),
    RunRule("nelson-5", *_TWO),
    RunRule("nelson-6", *_FOUR),
    RunRule("nelson-7", "Fifteen in a row within one sigma of the centre.", None, _near),
    RunRule("nelson-8", "Eight in a row beyond one sigma, on either side.", None, _far),
)

RUN_RULES: dict[str, RunRule] = {rule.key: rule for rule in (*WESTERN_ELECTRIC, *NELSON)}
