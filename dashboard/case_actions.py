"""Fields of a form → one decision on a case. What is not there or not readable is said in words."""

from collections.abc import Callable
from datetime import date
from math import isfinite

from werkzeug.datastructures import MultiDict

from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.plan_form import PlanForm
from qa.model.errors import FollowupError
from qa.model.published import Published

Sent = MultiDict[str, str]
Act = Callable[[CaseDesk, str, Sent, Published], object]


def read_day(sent: Sent, name: str) -> date:
    """Raises: FollowupError FUP-037."""
    try:
        return date.fromisoformat(sent.get(name, ""))
    except ValueError:
        raise FollowupError(
            "this is no day", where=name.replace("_", " "), expected="a day", code="FUP-037"
        ) from None


def read_number(sent: Sent, name: str) -> float:
    """Raises: FollowupError FUP-037."""
    try:
        number = float(sent.get(name, "").replace(",", "."))
        if not isfinite(number):
            raise ValueError(number)
        return number
    except ValueError:
        raise FollowupError(
            "this is no number", where=name.replace("_", " "), expected="a number", code="FUP-037"
        ) from None


def seen_of(sent: Sent) -> int:
    """A form that does not say what its reader had seen has seen nothing."""
    return int(sent.get("seen", "0")) if sent.get("seen", "0").isdecimal() else 0


def _plan(desk: CaseDesk, case_id: str, sent: Sent, published: Published) -> object:
    form = PlanForm(
        kind=sent.get("kind", ""),
        words=sent.get("words", ""),
        owner=sent.get("owner", ""),
        due_on=read_day(sent, "due_on"),
        threshold_percent=read_number(sent, "threshold"),
        check_on=read_day(sent, "check_on"),
        n_months=int(read_number(sent, "n_months")),
        min_n=int(read_number(sent, "min_n")),
        measure_id=sent.get("measure_id", ""),
        step=sent.get("step", ""),
        device_id=sent.get("device_id", ""),
        decided_by_clinic=sent.get("decided_by_clinic", ""),
    )
    return desk.plan_action(case_id, form, published=published, seen_no=seen_of(sent))


ACTIONS: dict[str, Act] = {
    "assign": lambda desk, case_id, sent, _: desk.assign(
        case_id, owner=sent.get("owner", ""), due_on=read_day(sent, "due_on"), seen_no=seen_of(sent)
    ),
    "list-exams": lambda desk, case_id, sent, published: desk.list_exams(
        case_id, published=published, seen_no=seen_of(sent)
    ),
    "decide-exams": lambda desk, case_id, sent, _: desk.decide_exams(
        case_id,
        exam_keys=sent.getlist("exam"),
        decision=sent.get("decision", ""),
        words=sent.get("words", ""),
        seen_no=seen_of(sent),
    ),
    "contain": lambda desk, case_id, sent, _: desk.contain(
        case_id, words=sent.get("words", ""), seen_no=seen_of(sent)
    ),
    "cause": lambda desk, case_id, sent, _: desk.find_cause(
        case_id,
        category=sent.get("category", ""),
        method=sent.get("method", ""),
        words=sent.get("words", ""),
        seen_no=seen_of(sent),
    ),
    "plan": _plan,
    "done": lambda desk, case_id, sent, _: desk.finish_action(
        case_id,
        done_on=read_day(sent, "done_on"),
        words=sent.get("words", ""),
        seen_no=seen_of(sent),
    ),
    "check": lambda desk, case_id, sent, published: desk.check(
        case_id, published=published, seen_no=seen_of(sent)
    ),
    "put-off": lambda desk, case_id, sent, _: desk.put_check_off(
        case_id, check_on=read_day(sent, "check_on"), why=sent.get("why", ""), seen_no=seen_of(sent)
    ),
    "close": lambda desk, case_id, sent, _: desk.close(
        case_id, words=sent.get("words", ""), seen_no=seen_of(sent)
    ),
    "reopen": lambda desk, case_id, sent, _: desk.reopen(
        case_id, why=sent.get("why", ""), seen_no=seen_of(sent)
    ),
    "comment": lambda desk, case_id, sent, _: desk.comment(case_id, words=sent.get("words", "")),
}
"""What a form may ask for, by the word it sends."""


def open_case(desk: CaseDesk, sent: Sent, published: Published) -> str:
    """Returns: the new case's id."""
    case = desk.open(
        title=sent.get("title", ""),
        owner=sent.get("owner", ""),
        due_on=read_day(sent, "due_on"),
        why=sent.get("why", ""),
        site_id=sent.get("site_id") or None,
        item_ids=[one for one in sent.getlist("item") if one],
        published=published,
    )
    return case.case_id
