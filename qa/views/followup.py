"""Follow-up: what was decided, did it work?"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType

from qa.followup.annotations import Annotation
from qa.followup.cases import Case
from qa.followup.due import due_items
from qa.followup.month_reviews import LookedAt, MonthReview
from qa.followup.reviews import Review
from qa.model.case_words import CaseState
from qa.model.definitions import Network
from qa.views import words
from qa.views.effects import EffectRow, criterion_words, effect_rows, worked_sentence
from qa.views.names import unit_name


@dataclass(frozen=True)
class CaseRow:
    """One open case in the list. due_text says "overdue since" where its day has passed.

    check: its criterion, and what the newest check said; "" before an action is planned.
    """

    case_id: str
    site_name: str
    title: str
    state: str
    next: str
    check: str
    owner: str
    due_text: str
    is_overdue: bool


@dataclass(frozen=True)
class FollowupView:
    """The Follow-up screen.

    Args:
        states: state and how many open cases are in it, in the order of the steps.
        effects: planned actions, what did not work first.
        closed: id, site, title, words of the newest check.
        dismissed: item, site, finding, why, by whom. notes: unit, day, kind, words, by whom.
    """

    answer: str
    subline: str
    rows: tuple[CaseRow, ...]
    closed: tuple[tuple[str, str, str, str], ...]
    dismissed: tuple[tuple[str, str, str, str, str], ...]
    states: tuple[tuple[str, int], ...] = ()
    effects: tuple[EffectRow, ...] = ()
    notes: tuple[tuple[str, str, str, str, str], ...] = ()


def followup_view(
    cases: Sequence[Case],
    reviews: Sequence[Review],
    *,
    network: Network,
    on: date,
    annotations: Sequence[Annotation] = (),
    names: Mapping[str, str] = MappingProxyType({}),
) -> FollowupView:
    """Open cases, the next due first; closed ones with what their check said; what was dismissed.

    Args:
        cases, reviews: those that the reader may see. on: today.
        names: account's id → name.
    """
    by_id = {case.case_id: case for case in cases}
    rows = tuple(
        CaseRow(
            case_id=one.case_id,
            site_name=site_name(network, one.site_id),
            title=one.title,
            state=str(one.state),
            next=one.what,
            check=check_words(by_id[one.case_id]),
            owner=one.owner,
            due_text=f"overdue since {one.due_on}" if one.is_overdue else f"{one.due_on}",
            is_overdue=one.is_overdue,
        )
        for one in due_items(cases, on=on)
    )
    closed = tuple(
        (
            case.case_id,
            site_name(network, case.site_id),
            case.title,
            case.last_check.sentence if case.last_check else "",
        )
        for case in cases
        if case.is_closed
    )
    dismissed = tuple(
        (
            one.item_id,
            site_name(network, one.site_id),
            one.finding,
            one.why,
            f"{names.get(one.by, one.by)}, {one.at[:10]}",
        )
        for one in reviews
        if one.is_dismissed
    )
    notes = tuple(
        (
            unit_name(network, one.unit_kind, one.unit_id),
            str(one.day),
            one.kind,
            one.words,
            f"{names.get(one.by, one.by)}, {one.at[:10]}",
        )
        for one in sorted(annotations, key=lambda one: (one.day, one.annotation_id), reverse=True)
    )
    return FollowupView(
        answer=f"{_answer(rows)} {worked_sentence(cases)}",
        subline=_subline(closed, dismissed),
        rows=rows,
        closed=closed,
        dismissed=dismissed,
        states=_states(rows),
        effects=effect_rows(cases, network=network, on=on),
        notes=notes,
    )


def _states(rows: Sequence[CaseRow]) -> tuple[tuple[str, int], ...]:
    found = [row.state for row in rows]
    return tuple((str(one), found.count(one)) for one in CaseState if one in found)


def check_words(case: Case) -> str:
    """Example: 'MSR-001 at most 12.0 % in each of 3 months, from 2027-03-01: not checked yet.'"""
    if case.plan is None:
        return ""
    last = case.last_check.sentence if case.last_check else "not checked yet."
    return f"{criterion_words(case)}: {last}"


def _answer(rows: Sequence[CaseRow]) -> str:
    if not rows:
        return "No case is open."
    late = [row for row in rows if row.is_overdue]
    open_text = f"{words.counted(len(rows), 'case')} {'is' if len(rows) == 1 else 'are'} open"
    if not late:
        return f"{open_text}, none is overdue."
    first = f"{late[0].case_id} first of all: {late[0].next}"
    return f"{open_text}, {len(late)} overdue, {first}."


def _subline(closed: Sequence[object], dismissed: Sequence[object]) -> str:
    return (
        f"{words.counted(len(closed), 'case')} closed as effective, "
        f"{words.counted(len(dismissed), 'signal')} reviewed and not pursued."
    )


@dataclass(frozen=True)
class Decided:
    """What was decided about an item of the list.

    Args:
        short: two or three words for a list.
        case_id: "" where there is no case. is_undoable: it can be taken back in place.
    """

    words: str
    case_id: str = ""
    short: str = ""
    is_undoable: bool = False


def decided_items(
    cases: Sequence[Case],
    reviews: Sequence[Review],
    *,
    on: date,
    month: MonthReview | None = None,
    names: Mapping[str, str] | None = None,
) -> dict[str, Decided]:
    """Item id → its newest case, or that it is not pursued and why, or that it waits.

    Args: month: the review of the month that is shown. names: id of an account → its person.
    """

    def told(one: LookedAt | Review) -> str:
        return f"({(names or {}).get(one.by, one.by)}, {one.at[:10]})"

    found = {
        one.item_id: Decided(
            f"To be looked at again next month: {one.words} {told(one)}",
            short="look again",
            is_undoable=True,
        )
        for one in (month.looked_at.values() if month else ())
    }
    found |= {
        review.item_id: Decided(
            f"Reviewed and not pursued: {review.why} {told(review)}",
            short="not pursued",
            is_undoable=True,
        )
        for review in reviews
        if review.is_dismissed
    }
    for case in cases:
        state = f"{case.case_id}: {case.state_on(on)}"
        found |= {item.item_id: Decided(state, case.case_id, state) for item in case.items}
    return found


def overdue_lines(cases: Sequence[Case], *, on: date) -> tuple[tuple[str, str], ...]:
    """Case id and a sentence for each overdue case, the longest overdue first."""
    return tuple(
        (one.case_id, f"{one.title}: {one.what} ({one.owner}, due {one.due_on})")
        for one in due_items(cases, on=on)
        if one.is_overdue
    )


def site_name(network: Network, site_id: str | None) -> str:
    if site_id is None:
        return "Whole network"
    site = network.site(site_id)
    return site.name if site else site_id
