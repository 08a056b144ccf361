"""Cases of a document: nonconformities with cause, action and whether the action worked."""

from collections.abc import Sequence
from datetime import date

from qa.followup.cases import Case
from qa.followup.due import Due, due_items
from qa.model.case_words import CaseState
from qa.model.definitions import Network
from qa.model.months import add_months, month_name
from qa.model.words import PointState
from qa.views import words
from qa.views.followup import check_words, site_name
from qa.views.pack_facts import PackFacts
from qa.views.paper import Block, Cell, Grid, Look, Mark, Para, Section
from qa.views.shown import Figure

TITLE = "Cases and effectiveness checks"
NO_RECORD = "No record of decisions is kept with this network, so there is none to show."
NOTE = (
    "A case goes from what was found to what happens to the exams, the cause, the action, and a "
    "check whose rule was set before the action was done. The check is worked out from published "
    "counts."
)


def case_section(
    facts: PackFacts | None,
    network: Network,
    *,
    from_month: date,
    to_month: date,
    names_sites: bool = False,
) -> Section:
    """Every case that was open in the months, or closed in them.

    Args: names_sites: says of each case whose it is.
    """
    blocks: list[Block]
    if facts is None:
        return Section("cases", TITLE, (Para(NO_RECORD, Look.SMALL),))
    chosen = cases_of_months(facts.cases, from_month, to_month)
    when = _when(from_month, to_month)
    if not chosen:
        return Section("cases", TITLE, (Para(f"No case was open in {when}.", Look.SMALL),))
    day = facts.known_at.date()
    due = {one.case_id: one for one in due_items(chosen, on=day)}
    n_closed = sum(case.is_closed for case in chosen)
    n_late = sum(one.is_overdue for one in due.values())
    lead = (
        f"{words.counted(len(chosen), 'case')} of {when}: {n_closed} closed as effective, "
        f"{len(chosen) - n_closed} open, {n_late} of them overdue."
    )
    rows = tuple(
        _row(case, due.get(case.case_id), network, day, names_sites=names_sites) for case in chosen
    )
    headings = ("Case", "State", "Cause and action", "Did it work?")
    blocks = [
        Para(lead, Look.SMALL, Figure("cases.lead", "cases", lead, float(len(chosen)))),
        Grid(TITLE, headings, rows, (26, 20, 29, 25)),
        Para(NOTE, Look.NOTE),
    ]
    return Section("cases", TITLE, tuple(blocks), room=150.0)


def _when(from_month: date, to_month: date) -> str:
    if from_month == to_month:
        return month_name(to_month)
    return f"{month_name(from_month)} to {month_name(to_month)}"


def cases_of_months(cases: Sequence[Case], from_month: date, to_month: date) -> list[Case]:
    """Open before the months end, and not closed before they begin; by id."""
    first, after = from_month.isoformat(), add_months(to_month, 1).isoformat()
    # What follows a month is written down in the next, so that month's events still belong here.
    after = max(after, add_months(to_month, 2).isoformat())
    return sorted(
        (
            case
            for case in cases
            if case.opened_at[:10] < after and not (case.is_closed and case.changed_at[:10] < first)
        ),
        key=lambda case: case.case_id,
    )


def _row(
    case: Case, due: Due | None, network: Network, day: date, *, names_sites: bool
) -> tuple[Cell, ...]:
    state = case.state_on(day)
    whose = (Para(site_name(network, case.site_id), Look.NOTE),) if names_sites else ()
    found = case.items[0].finding if case.items else case.why
    next_step: tuple[Para, ...] = ()
    if due is not None:
        late = f"overdue since {due.due_on}" if due.is_overdue else f"by {due.due_on}"
        next_step = (Para(f"Next: {due.what}. {due.owner}, {late}.", Look.NOTE),)
    return (
        (Para(case.case_id, Look.SMALL_STRONG), *whose, Para(case.title, Look.SMALL))
        + ((Para(found, Look.NOTE),) if found and found != case.title else ()),
        (Mark(_mark(state, due), str(state)), *next_step),
        _done(case),
        _worked(case),
    )


def _mark(state: CaseState, due: Due | None) -> str:
    if state is CaseState.CLOSED:
        return PointState.STEADY.value
    return PointState.LOOK.value if due is not None and due.is_overdue else PointState.WATCH.value


def _done(case: Case) -> tuple[Para, ...]:
    lines = []
    if case.cause:
        lines.append(f"Cause: {case.cause_category}. {case.cause}")
    if case.plan:
        lines.append(f"Action: {case.plan.kind}. {case.plan.words}")
        done = f"done on {case.done_on}" if case.done_on else f"due by {case.plan.due_on}"
        lines.append(f"{case.plan.owner}, {done}.")
    return tuple(Para(line, Look.SMALL) for line in lines) or (Para("Not yet known.", Look.NOTE),)


def _worked(case: Case) -> tuple[Para, ...]:
    told = check_words(case)
    lines = [told] if told else ["No check was set yet."]
    if case.reopened_because:
        lines.append(f"Reopened: {case.reopened_because}")
    if case.closing_words:
        lines.append(case.closing_words)
    return tuple(Para(line, Look.SMALL) for line in lines)
