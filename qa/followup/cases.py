"""A case: from signal to proof. What it knows at any moment; case_events.py replays it.

open → contained → cause found → action planned → action done → effectiveness check due → closed as
effective, or reopened and through the steps again. ISO 9001:2015, 10.2 (wording read second-hand).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from qa.model.case_words import CaseState, EffectVerdict

MAX_TITLE = 200


@dataclass(frozen=True)
class CaseItem:
    """An item of the month's list, as it stood when the case took it in."""

    item_id: str
    unit_kind: str
    unit_id: str
    measure_id: str
    since: str
    month: str
    finding: str


@dataclass(frozen=True)
class CaseExam:
    """An exam that the case concerns. decision: empty until somebody decides."""

    exam_key: str
    shown: str
    decision: str = ""
    words: str = ""
    decided_by: str = ""


@dataclass(frozen=True)
class Criterion:
    """How it will be seen that an action worked; set before the action, never changed after it.

    Every one of the last n_months months before check_on that have min_n exams or more must lie on
    the good side of the threshold (below it, or above where is_below is False; the limit counts as
    met).
    """

    measure_id: str
    unit_kind: str
    unit_id: str
    criteria_id: str
    is_below: bool
    threshold_share: float
    n_months: int
    min_n: int
    check_on: date


@dataclass(frozen=True)
class Plan:
    """An action and its criterion. planned_on: day on which they were written down."""

    kind: str
    words: str
    step: str
    device_id: str
    decided_by_clinic: str
    owner: str
    due_on: date
    planned_on: date
    criterion: Criterion


@dataclass(frozen=True)
class Check:
    """The result of an effectiveness check, as the tool worked it out from published counts."""

    verdict: str
    sentence: str
    checked_on: date
    figures: Mapping[str, Any]


@dataclass(frozen=True)
class Comment:
    by: str
    at: str
    words: str


@dataclass(frozen=True)
class Case:
    """Everything that a case's events say.

    Args:
        site_id: None: it concerns the whole network.
        step: where it stands by its events alone; see state_on.
        n_events: number of the last event; an edit names it to be told of others' changes.
        checks: since the newest action was done.
        n_rounds: 1, and one more each time it was reopened.
    """

    case_id: str
    site_id: str | None
    title: str
    why: str
    items: tuple[CaseItem, ...]
    owner: str
    due_on: date
    opened_at: str
    opened_by: str
    step: CaseState = CaseState.OPEN
    exams: tuple[CaseExam, ...] = ()
    containment: str = ""
    cause_category: str = ""
    cause_method: str = ""
    cause: str = ""
    plan: Plan | None = None
    done_on: date | None = None
    done_words: str = ""
    checks: tuple[Check, ...] = ()
    closing_words: str = ""
    reopened_because: str = ""
    comments: tuple[Comment, ...] = ()
    n_rounds: int = 1
    n_events: int = 1
    changed_at: str = ""
    history: tuple[tuple[str, str, str], ...] = field(default=())

    def state_on(self, day: date) -> CaseState:
        """The state on a day: from the criterion's date on, the check of a done action is due."""
        if self.step is CaseState.ACTION_DONE and self.plan and day >= self.plan.criterion.check_on:
            return CaseState.CHECK_DUE
        return self.step

    @property
    def is_closed(self) -> bool:
        return self.step is CaseState.CLOSED

    @property
    def last_check(self) -> Check | None:
        return self.checks[-1] if self.checks else None

    @property
    def undecided(self) -> tuple[CaseExam, ...]:
        return tuple(exam for exam in self.exams if not exam.decision)


def can_close(case: Case) -> bool:
    """An action was done and its newest check says that it worked."""
    last = case.last_check
    return (
        case.step is CaseState.ACTION_DONE
        and last is not None
        and last.verdict == EffectVerdict.EFFECTIVE
    )
