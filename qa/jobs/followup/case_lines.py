"""Cases in words, for the command line."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from qa.followup.case_events import plain_case
from qa.followup.cases import Case
from qa.followup.due import due_items
from qa.followup.effect import EffectResult
from qa.model.months import month_name


def state_line(case: Case, *, on: date) -> str:
    """Example: 'CASE-0001 is contained. Next: find the cause (lena, by 2026-11-18).'"""
    head = f"{case.case_id} is {case.state_on(on)}."
    last = case.last_check
    if last is not None:
        head += f" {last.sentence}"
    for due in due_items([case], on=on):
        head += f" Next: {due.what} ({due.owner}, by {due.due_on})."
    return head


def list_lines(cases: Sequence[Case], *, on: date, only_overdue: bool = False) -> list[str]:
    """One line for each case: those that wait for something first, by day; then the closed."""
    lines = [
        f"{due.case_id}  {due.due_on}{'  overdue' if due.is_overdue else ''}  "
        f"{due.site_id or 'network'}  {due.title}: {due.state}. Next: {due.what} ({due.owner})"
        for due in due_items(cases, on=on)
        if due.is_overdue or not only_overdue
    ]
    closed = [case for case in cases if case.is_closed and not only_overdue]
    return lines + [
        f"{case.case_id}  {case.site_id or 'network'}  {case.title}: {case.step}" for case in closed
    ]


def case_lines(case: Case, *, on: date) -> list[str]:
    """Every field that holds something, then the numbered history."""
    fields = {"Case": case.case_id, **plain_case(case), "State": str(case.state_on(on))}
    lines = []
    for name, words in fields.items():
        if words:
            first, *more = words.splitlines()
            lines += [f"{name + ':':<14}{first}", *(" " * 14 + line for line in more)]
    lines.append("History:")
    lines += [
        f"{number:>4}  {at[:16]}  {by}  {kind}"
        for number, (at, by, kind) in enumerate(case.history, start=1)
    ]
    return [*lines, state_line(case, on=on)]


def effect_lines(result: EffectResult) -> list[str]:
    """The months of a check with their intervals, and its sentence."""
    lines = []
    for one in result.months:
        figures = "no exams"
        if one.value is not None and one.lower is not None and one.upper is not None:
            figures = (
                f"{one.n_events} of {one.n} ({100 * one.value:.1f} %, "
                f"95 % interval {100 * one.lower:.1f} to {100 * one.upper:.1f} %)"
            )
        lines.append(f"{month_name(one.month):<16}{figures}: {one.verdict}")
    return [*lines, result.sentence, f"From snapshot {result.snapshot_id}."]


def cases_json(cases: Sequence[Case], *, on: date) -> list[dict[str, Any]]:
    """Plain values: the fields in words, with id, site, state and what is due."""
    due = {one.case_id: one for one in due_items(cases, on=on)}
    return [
        {
            "case_id": case.case_id,
            "site_id": case.site_id,
            "state": str(case.state_on(on)),
            "n_events": case.n_events,
            "next": due[case.case_id].what if case.case_id in due else None,
            "due_on": due[case.case_id].due_on.isoformat() if case.case_id in due else None,
            "is_overdue": case.case_id in due and due[case.case_id].is_overdue,
            "fields": plain_case(case),
        }
        for case in cases
    ]
