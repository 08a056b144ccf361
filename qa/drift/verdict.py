"""What an explained change comes to: one verdict with its confidence, or cause not established."""

from dataclasses import dataclass

from qa.drift.causes import (
    ALIKE,
    DEVICE,
    NEWCOMERS,
    NOTHING,
    OPERATOR,
    PATIENTS,
    PROBE,
    REMAINDER,
    Explained,
    Explanation,
    Part,
)
from qa.stats.intervals import newcombe_difference

FEW, NOT_MOVED, NOT_ESTABLISHED = "too few exams", "not moved", "cause not established"
UNSEEN_PATIENTS = "patients not described"
LIKELY, VERY_LIKELY = 0.75, 0.95
"""Probability from which one explanation is named, and named without reserve; proposal of this
tool."""
MOST = 0.5
"""A part that is named holds at least half of the change."""
FEWEST = 20
"""Fewer exams than this in either period say nothing."""


@dataclass(frozen=True)
class Verdict:
    """cause: FEW, NOT_MOVED, NOT_ESTABLISHED, PATIENTS, UNSEEN_PATIENTS, OPERATOR, DEVICE or
    PROBE. members: (column, id) of what is named. weight: its probability among the explanations.
    is_composition: who examines, or with what, has changed; nobody's own level has. lower, upper:
    95 % interval of the change (Newcombe)."""

    cause: str
    members: tuple[tuple[str, str], ...]
    weight: float
    is_composition: bool
    lower: float
    upper: float


def judge(found: Explained, *, is_grade: bool, n_operators: int, n_devices: int) -> Verdict:
    """Name the cause of a change where the evidence is enough.

    Args:
        found: of the two periods.
        is_grade: the measure counts results of exams, which other patients alone can move.
        n_operators, n_devices: in use in both periods.
    Weak when: as explain_change; a cause outside the explanations (two at once) is not known here.
    """
    lower, upper = newcombe_difference(
        found.events_after, found.n_after, found.events_before, found.n_before
    )
    ends = float(lower), float(upper)
    top = found.explanations[0]
    if min(found.n_before, found.n_after) < FEWEST:
        return Verdict(FEW, (), 0.0, False, *ends)
    if top.kind == NOTHING:
        return _of_composition(found, top, ends)
    if top.kind in (ALIKE, NEWCOMERS):
        many = n_operators > 1 and n_devices > 1
        return _of_everybody(found, top, ends, may_be_patients=is_grade and many)
    if top.weight < LIKELY:
        return Verdict(NOT_ESTABLISHED, (), top.weight, False, *ends)
    return Verdict(top.kind, top.members, top.weight, False, *ends)


def _of_everybody(
    found: Explained, top: Explanation, ends: tuple[float, float], *, may_be_patients: bool
) -> Verdict:
    """All moved alike. Where patients seen before moved too, it is not that others came."""
    if top.kind == NEWCOMERS and top.weight >= LIKELY:
        return Verdict(UNSEEN_PATIENTS, (), top.weight, False, *ends)
    both = sum(one.weight for one in found.explanations if one.kind in (ALIKE, NEWCOMERS))
    can_tell = any(one.kind == NEWCOMERS for one in found.explanations)
    is_old_patients_too = can_tell and top.kind == ALIKE and top.weight >= LIKELY
    is_patients = may_be_patients and both >= LIKELY and not is_old_patients_too
    cause = UNSEEN_PATIENTS if is_patients else NOT_ESTABLISHED
    weight = both if is_patients else top.weight
    return Verdict(cause, top.members if top.kind == ALIKE else (), weight, False, *ends)


def _of_composition(found: Explained, top: Explanation, ends: tuple[float, float]) -> Verdict:
    """Nobody's own level has moved: who came, who examined them, and with what, may have."""
    if ends[0] <= 0 <= ends[1]:
        return Verdict(NOT_MOVED, (), top.weight, False, *ends)
    named = [part for part in found.parts if part.name != REMAINDER and _is_shown(part, found)]
    if not named:
        return Verdict(NOT_ESTABLISHED, (), top.weight, False, *ends)
    largest = max(named, key=lambda part: abs(part.micro))
    causes = {PATIENTS: PATIENTS, OPERATOR: OPERATOR, DEVICE: DEVICE, PROBE: PROBE}
    cause = causes.get(largest.name, NOT_ESTABLISHED)
    return Verdict(cause, (), top.weight, cause != PATIENTS, *ends)


def _is_shown(part: Part, found: Explained) -> bool:
    is_apart_from_none = part.lower_micro > 0 or part.upper_micro < 0
    is_same_way = part.micro * found.change_micro > 0
    return is_apart_from_none and is_same_way and abs(part.micro) >= MOST * abs(found.change_micro)
