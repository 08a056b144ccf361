"""A case's state is the replay of its events; and every field of it in words, for the trail."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from qa.followup.cases import Case, CaseExam, CaseItem, Check, Comment, Criterion, Plan
from qa.followup.records import RecordClass
from qa.model.case_words import CaseState
from qa.model.record import Event


def replay_case(events: Sequence[Event]) -> Case:
    """The case after all of its events. Raises: KeyError for a kind it does not know (our bug)."""
    first = events[0]
    case = _opened(first)
    for event in events:
        if event is not first:
            case = _STEPS[event.kind](case, event.values, event)
        case = replace(
            case,
            n_events=event.no,
            changed_at=event.at,
            history=(*case.history, (event.at, event.by, event.kind)),
        )
    return case


def _opened(event: Event) -> Case:
    told = event.values
    return Case(
        case_id=event.record_id,
        site_id=told["site_id"],
        title=told["title"],
        why=told["why"],
        items=tuple(CaseItem(**item) for item in told["items"]),
        owner=told["owner"],
        due_on=date.fromisoformat(told["due_on"]),
        opened_at=event.at,
        opened_by=event.by,
    )


def _items_added(case: Case, told: dict, event: Event) -> Case:
    return replace(case, items=(*case.items, *(CaseItem(**item) for item in told["items"])))


def _assigned(case: Case, told: dict, event: Event) -> Case:
    return replace(case, owner=told["owner"], due_on=date.fromisoformat(told["due_on"]))


def _exams_listed(case: Case, told: dict, event: Event) -> Case:
    return replace(case, exams=(*case.exams, *(CaseExam(**exam) for exam in told["exams"])))


def _exam_decided(case: Case, told: dict, event: Event) -> Case:
    def decided(exam: CaseExam) -> CaseExam:
        if exam.exam_key not in told["exam_keys"]:
            return exam
        return replace(exam, decision=told["decision"], words=told["words"], decided_by=event.by)

    return replace(case, exams=tuple(decided(exam) for exam in case.exams))


def _contained(case: Case, told: dict, event: Event) -> Case:
    return replace(case, step=CaseState.CONTAINED, containment=told["words"])


def _cause_found(case: Case, told: dict, event: Event) -> Case:
    return replace(
        case,
        step=CaseState.CAUSE_FOUND,
        cause_category=told["category"],
        cause_method=told["method"],
        cause=told["words"],
    )


def _action_planned(case: Case, told: dict, event: Event) -> Case:
    criterion = Criterion(
        **told["criterion"] | {"check_on": date.fromisoformat(told["criterion"]["check_on"])}
    )
    plan = Plan(
        kind=told["kind"],
        words=told["words"],
        step=told["step"],
        device_id=told["device_id"],
        decided_by_clinic=told["decided_by_clinic"],
        owner=told["owner"],
        due_on=date.fromisoformat(told["due_on"]),
        planned_on=date.fromisoformat(told["planned_on"]),
        criterion=criterion,
    )
    return replace(case, step=CaseState.ACTION_PLANNED, plan=plan)


def _action_done(case: Case, told: dict, event: Event) -> Case:
    return replace(
        case,
        step=CaseState.ACTION_DONE,
        done_on=date.fromisoformat(told["done_on"]),
        done_words=told["words"],
        checks=(),
    )


def _check_put_off(case: Case, told: dict, event: Event) -> Case:
    assert case.plan is not None
    later = replace(case.plan.criterion, check_on=date.fromisoformat(told["check_on"]))
    return replace(case, plan=replace(case.plan, criterion=later))


def _checked(case: Case, told: dict, event: Event) -> Case:
    check = Check(
        told["verdict"], told["sentence"], date.fromisoformat(told["checked_on"]), told["figures"]
    )
    return replace(case, checks=(*case.checks, check))


def _closed(case: Case, told: dict, event: Event) -> Case:
    return replace(case, step=CaseState.CLOSED, closing_words=told["words"])


def _reopened(case: Case, told: dict, event: Event) -> Case:
    """The next round begins; what was planned and done before stays in the history."""
    return replace(
        case,
        step=CaseState.REOPENED,
        reopened_because=told["why"],
        n_rounds=case.n_rounds + 1,
        plan=None,
        done_on=None,
        done_words="",
        checks=(),
        closing_words="",
    )


def _commented(case: Case, told: dict, event: Event) -> Case:
    return replace(case, comments=(*case.comments, Comment(event.by, event.at, told["words"])))


_STEPS = {
    "items added": _items_added,
    "assigned": _assigned,
    "exams listed": _exams_listed,
    "exams decided": _exam_decided,
    "contained": _contained,
    "cause found": _cause_found,
    "action planned": _action_planned,
    "action done": _action_done,
    "check put off": _check_put_off,
    "effectiveness checked": _checked,
    "closed as effective": _closed,
    "reopened": _reopened,
    "commented": _commented,
}


def plain_case(case: Case) -> dict[str, str]:
    """Every field in words, for the trail: it must read without the program."""
    plan, criterion = case.plan, case.plan.criterion if case.plan else None
    return {
        "State": str(case.step),
        "Title": case.title,
        "Site": case.site_id or "whole network",
        "Why": case.why,
        "Items": "; ".join(f"{item.item_id} ({item.finding})" for item in case.items),
        "Owner": case.owner,
        "Due": str(case.due_on),
        "Exams": "; ".join(
            f"{exam.shown}: {exam.decision or 'not decided'}" + (exam.words and f" ({exam.words})")
            for exam in case.exams
        ),
        "Containment": case.containment,
        "Cause": case.cause and f"{case.cause_category}, {case.cause_method}: {case.cause}",
        "Action": plan_words(plan) if plan else "",
        "Criterion": criterion_words(criterion) if criterion else "",
        "Done": f"{case.done_on}: {case.done_words}" if case.done_on else "",
        "Checks": "; ".join(f"{one.checked_on}: {one.sentence}" for one in case.checks),
        "Closed": case.closing_words,
        "Reopened": case.reopened_because,
        "Comments": "; ".join(f"{one.by}: {one.words}" for one in case.comments),
    }


def plan_words(plan: Plan) -> str:
    what = [plan.kind]
    what += [plan.step] if plan.step else []
    what += [f"device {plan.device_id}"] if plan.device_id else []
    what += [f"decided by {plan.decided_by_clinic}"] if plan.decided_by_clinic else []
    return f"{', '.join(what)}: {plan.words} ({plan.owner}, by {plan.due_on})"


def criterion_words(one: Criterion) -> str:
    """Example: 'MSR-001 of site north at most 8.0 % in each of 3 months with at least 50 exams,
    to be checked on 2027-03-01, by common-practice.v1'"""
    side = "at most" if one.is_below else "at least"
    return (
        f"{one.measure_id} of {one.unit_kind} {one.unit_id} {side} "
        f"{100 * one.threshold_share:.1f} % in each of {one.n_months} months with at least "
        f"{one.min_n} exams, to be checked on {one.check_on}, by {one.criteria_id}"
    )


CASE = RecordClass("case", "the case", replay_case, plain_case, frozenset({"commented"}))
