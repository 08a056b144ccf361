"""Steps of single exams as evidence for the explanations of a share that moved."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date

from qa.drift.causes import ALIKE, NEWCOMERS, NOTHING, Explained, Explanation, Key
from qa.drift.exam_steps import Steps


def weights_of(steps: Steps) -> Mapping[Key, float] | None:
    """Probabilities from raw values, which say more than a share above an edge; None: no values.

    Newcomers and everybody alike are one there: cells of exams do not know who came before.
    """
    if not (steps.is_of_values and steps.steps):
        return None
    found = {one.key: one.weight for one in steps.steps if one.key[0] != NEWCOMERS}
    alike = next((key for key in found if key[0] == ALIKE), (ALIKE, ()))
    found[alike] = found.get(alike, 0.0) + _newcomers(steps)
    return found | {(NOTHING, ()): steps.nothing}


def leaning_of(steps: Steps, start: date) -> Mapping[Key, float]:
    """For events: what each explanation gains or loses as its start is not known.

    The exams after `start` are held against those before, and that start was chosen by looking; the
    mean over all starts was not.
    """
    if steps.is_of_values:
        return {}
    return {
        one.key: one.mean - one.by_start[start]
        for one in steps.steps
        if one.by_start.get(start, float("-inf")) > float("-inf")
    }


def with_newcomers(found: Explained, steps: Steps) -> Explained:
    """The explanations with newcomers and everybody alike told apart again."""
    newer = _newcomers(steps)
    if not newer:
        return found
    told: list[Explanation] = []
    for one in found.explanations:
        if one.kind != ALIKE:
            told.append(one)
            continue
        share = newer / (newer + sum(s.weight for s in steps.steps if s.key[0] == ALIKE))
        told.append(replace(one, weight=one.weight * (1 - share)))
        told.append(replace(one, kind=NEWCOMERS, members=(), weight=one.weight * share))
    told.sort(key=lambda one: -one.weight)
    return replace(found, explanations=tuple(told))


def _newcomers(steps: Steps) -> float:
    return sum(one.weight for one in steps.steps if one.key[0] == NEWCOMERS)
