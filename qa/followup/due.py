"""What is due by when, and what is overdue."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from qa.followup.cases import Case
from qa.model.case_words import NEXT_STEP, CaseState, EffectVerdict


@dataclass(frozen=True)
class Due:
    """The next thing that a case waits for. is_overdue: its day has passed."""

    case_id: str
    site_id: str | None
    title: str
    state: CaseState
    what: str
    owner: str
    due_on: date
    is_overdue: bool


def due_items(cases: Iterable[Case], *, on: date) -> list[Due]:
    """One for each open case, the longest overdue first."""
    found = [_due(case, on) for case in cases if not case.is_closed]
    return sorted(found, key=lambda one: (one.due_on, one.case_id))


def _due(case: Case, on: date) -> Due:
    state, owner, due_on = case.state_on(on), case.owner, case.due_on
    what = NEXT_STEP[state]
    if case.plan and state is CaseState.ACTION_PLANNED:
        owner, due_on = case.plan.owner, case.plan.due_on
    elif case.plan and state in (CaseState.ACTION_DONE, CaseState.CHECK_DUE):
        due_on = case.plan.criterion.check_on
        what = _after_check(case) or what
    is_overdue = on > due_on
    return Due(case.case_id, case.site_id, case.title, state, what, owner, due_on, is_overdue)


def _after_check(case: Case) -> str:
    last = case.last_check
    if last is None:
        return ""
    if last.verdict == EffectVerdict.EFFECTIVE:
        return "close it"
    if last.verdict == EffectVerdict.TOO_FEW:
        return "put the check off, or reopen the case"
    return "reopen it: the action did not work"
