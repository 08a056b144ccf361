"""Decisions on a case as a test writes them: short names, fixed days."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date

from qa.followup import decide, decide_action
from qa.followup.cases import Case, CaseExam, Criterion
from qa.followup.decide_action import ActionPlan
from qa.followup.effect import EffectResult
from qa.model.case_words import EffectVerdict
from qa.model.record import NewEvent

TODAY = date(2026, 11, 4)
"""The day on which every step below is taken, but for the check."""

CHECK_ON = date(2027, 3, 1)
CRITERION = Criterion(
    measure_id="MSR-001",
    unit_kind="site",
    unit_id="north",
    criteria_id="common-practice.v1",
    is_below=True,
    threshold_share=0.12,
    n_months=3,
    min_n=50,
    check_on=CHECK_ON,
)
PLAN = ActionPlan(
    kind="retraining",
    words="Half a day at the machine with the lead",
    owner="lena",
    due_on=date(2026, 11, 20),
    criterion=CRITERION,
    step="steadiness and breath hold",
)


def result_of(verdict: str) -> EffectResult:
    return EffectResult(
        EffectVerdict(verdict), f"{verdict}.", (), 15, 165, 15 / 165, 0.05, 0.15, "S1"
    )


def opened(case: Case | None) -> list[NewEvent]:
    return decide.open_case(
        case,
        site_id="north",
        title="Spread",
        why="seen in the round",
        owner="lena",
        due_on=date(2026, 11, 18),
    )


def checked(verdict: str) -> Callable[[Case | None], list[NewEvent]]:
    def check(case: Case | None) -> list[NewEvent]:
        on = case.plan.criterion.check_on if case and case.plan else CHECK_ON
        return decide_action.record_check(case, result_of(verdict), on=on)

    return check


EXAM = CaseExam("k1", "2026-10-05 op-1 unreliable")

STEPS: dict[str, Callable[[Case | None], list[NewEvent]]] = {
    "open": opened,
    "assign": lambda case: decide.assign(case, owner="maria", due_on=date(2026, 12, 1)),
    "list exam": lambda case: decide.list_exams(case, exams=[EXAM]),
    "decide exam": lambda case: decide.decide_exams(
        case, exam_keys=["k1"], decision="to be repeated", words=""
    ),
    "contain": lambda case: decide.contain(case, words="Results were looked at again"),
    "cause": lambda case: decide.find_cause(
        case,
        category="technique of the exam",
        method="watched exams being done",
        words="Breath is not held",
    ),
    "plan": lambda case: decide_action.plan_action(case, PLAN, on=TODAY),
    "done": lambda case: decide_action.finish_action(case, done_on=TODAY, words="Done", on=TODAY),
    "done before plan": lambda case: decide_action.finish_action(
        case, done_on=date(2026, 11, 3), words="Done", on=TODAY
    ),
    "check effective": checked("effective"),
    "check not effective": checked("not effective"),
    "check too few": checked("too few exams"),
    "check too early": lambda case: decide_action.record_check(
        case, result_of("effective"), on=TODAY
    ),
    "put off": lambda case: decide_action.put_check_off(
        case, check_on=date(2027, 5, 1), why="two months were thin"
    ),
    "close": lambda case: decide.close_case(case, words="It holds"),
    "reopen": lambda case: decide.reopen_case(case, why="It came back"),
    "comment": lambda case: decide.comment(case, words="Seen"),
}


def by(kind: str, **changed: object) -> ActionPlan:
    """PLAN with other fields, of itself or of its criterion."""
    own = {name: value for name, value in changed.items() if hasattr(PLAN, name)}
    rest = {name: value for name, value in changed.items() if name not in own}
    criterion = replace(CRITERION, **rest)  # type: ignore[arg-type]
    return replace(PLAN, criterion=criterion, kind=kind, **own)  # type: ignore[arg-type]
