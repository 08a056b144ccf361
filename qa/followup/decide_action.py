"""Planning an action with its criterion, doing it, checking whether it worked → events."""

import math
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from qa.followup.cases import MAX_TITLE, Case, Criterion
from qa.followup.effect import EffectResult
from qa.followup.fitting import require_step, require_word
from qa.followup.records import clean_text
from qa.model.case_words import ActionKind, CaseState, EffectVerdict, RetrainingStep
from qa.model.errors import FollowupError
from qa.model.months import add_months, month_of
from qa.model.record import NewEvent

S = CaseState


@dataclass(frozen=True)
class ActionPlan:
    """What a person enters for an action, before it is checked."""

    kind: str
    words: str
    owner: str
    due_on: date
    criterion: Criterion
    step: str = ""
    device_id: str = ""
    decided_by_clinic: str = ""


def plan_action(case: Case | None, plan: ActionPlan, *, on: date) -> list[NewEvent]:
    """An action with its criterion; both may be changed until the action is done, never after.

    Args: on: today.
    Raises: FollowupError FUP-027 (a retraining without its step, a recall that nobody at the clinic
        decided, a service without device), FUP-028 (a criterion that cannot be checked).
    """
    case = require_step(case, S.CAUSE_FOUND, S.ACTION_PLANNED)
    kind = require_word(ActionKind, plan.kind, field="action")
    _refuse_criterion(plan.criterion, due_on=plan.due_on)
    data: dict[str, Any] = {
        "kind": str(kind),
        "words": clean_text(plan.words, field="action"),
        "step": _needed_step(kind, plan.step),
        "device_id": clean_text(
            plan.device_id, field="device", is_needed=kind is ActionKind.SERVICE, longest=MAX_TITLE
        ),
        "decided_by_clinic": clean_text(
            plan.decided_by_clinic,
            field="who at the clinic decided",
            is_needed=kind is ActionKind.RECALL,
            longest=MAX_TITLE,
        ),
        "owner": clean_text(plan.owner, field="owner", longest=MAX_TITLE),
        "due_on": plan.due_on.isoformat(),
        "planned_on": on.isoformat(),
        "criterion": asdict(plan.criterion) | {"check_on": plan.criterion.check_on.isoformat()},
    }
    return [NewEvent("action planned", data)]


def _needed_step(kind: ActionKind, step: str) -> str:
    if kind is not ActionKind.RETRAINING:
        return ""
    return str(require_word(RetrainingStep, step, field="step of the technique"))


def _refuse_criterion(one: Criterion, *, due_on: date) -> None:
    def refuse(what: str, expected: str) -> None:
        raise FollowupError(what, where="criterion", expected=expected, code="FUP-028")

    if not (math.isfinite(one.threshold_share) and 0 <= one.threshold_share <= 1):
        refuse(f"a threshold of {one.threshold_share}", "a share from 0 to 1")
    if not 1 <= one.n_months <= 24:
        refuse(f"{one.n_months} months", "1 to 24")
    if one.min_n < 1:
        refuse(f"{one.min_n} exams a month", "at least 1")
    earliest = add_months(month_of(due_on), one.n_months + 1)
    if one.check_on < earliest:
        refuse(
            f"a check on {one.check_on}",
            f"{earliest} or later, when {one.n_months} whole months follow the action's due date",
        )


def finish_action(case: Case | None, *, done_on: date, words: str, on: date) -> list[NewEvent]:
    """Raises: FollowupError FUP-029 when it was done before its criterion, or lies ahead."""
    case = require_step(case, S.ACTION_PLANNED)
    assert case.plan is not None
    if not case.plan.planned_on <= done_on <= on:
        raise FollowupError(
            f"done on {done_on}",
            where=case.case_id,
            expected=f"a day from {case.plan.planned_on}, when the criterion was set, to today",
            todo="A criterion that is set after the action proves nothing: plan a further action",
            code="FUP-029",
        )
    data = {"done_on": done_on.isoformat(), "words": clean_text(words, field="what was done")}
    return [NewEvent("action done", data)]


def put_check_off(case: Case | None, *, check_on: date, why: str) -> list[NewEvent]:
    """A later date, where too few exams came. Threshold, months and exams stay as set.

    Raises: FollowupError FUP-030 when the check gave a verdict, or the date is not later.
    """
    case = require_step(case, S.ACTION_DONE)
    assert case.plan is not None
    last = case.last_check
    is_judged = last is not None and last.verdict != EffectVerdict.TOO_FEW
    if is_judged or check_on <= case.plan.criterion.check_on:
        raise FollowupError(
            "the check has a verdict" if is_judged else f"{check_on} is not later",
            where=case.case_id,
            expected=f"a day after {case.plan.criterion.check_on}, and a check without a verdict",
            code="FUP-030",
        )
    data = {"check_on": check_on.isoformat(), "why": clean_text(why, field="why")}
    return [NewEvent("check put off", data)]


def record_check(case: Case | None, result: EffectResult | None, *, on: date) -> list[NewEvent]:
    """Keep what the tool worked out (None: no action was done).

    Raises: FollowupError FUP-031 when it is too early, FUP-033 before the action was done.
    """
    case = require_step(case, S.ACTION_DONE)
    assert case.plan is not None
    assert result is not None
    if on < case.plan.criterion.check_on or result.verdict is EffectVerdict.NOT_YET:
        raise FollowupError(
            f"it is too early: {result.sentence}",
            where=case.case_id,
            expected=f"a check on {case.plan.criterion.check_on} or later",
            code="FUP-031",
        )
    data = {
        "verdict": str(result.verdict),
        "sentence": result.sentence,
        "checked_on": on.isoformat(),
        "figures": result.to_json(),
    }
    return [NewEvent("effectiveness checked", data)]
