"""The review of one month: items that are looked at again next month, and the month's closing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from qa.followup.cases import CaseItem
from qa.followup.records import RecordClass, clean_text
from qa.model.errors import FollowupError
from qa.model.record import Event, NewEvent

REVIEWED, UNDONE, CLOSED, REOPENED = "looked at", "look undone", "month closed", "month reopened"


@dataclass(frozen=True)
class LookedAt:
    """An item that stays on the list: what was found so far, by whom and when."""

    item_id: str
    site_id: str | None
    finding: str
    words: str
    by: str
    at: str


@dataclass(frozen=True)
class Closing:
    """A month that was closed. undecided: findings of items that were left open."""

    n_items: int
    undecided: tuple[str, ...]
    words: str
    by: str
    at: str


@dataclass(frozen=True)
class MonthReview:
    """What was decided about a month as a whole. month: 'YYYY-MM'. closing: None while open."""

    month: str
    looked_at: Mapping[str, LookedAt] = field(default_factory=dict)
    closing: Closing | None = None
    n_events: int = 0


def replay_month(events: Sequence[Event]) -> MonthReview:
    state = MonthReview(events[0].record_id)
    for event in events:
        state = replace(_after(state, event), n_events=event.no)
    return state


def _after(state: MonthReview, event: Event) -> MonthReview:
    told: Mapping[str, Any] = event.values
    if event.kind == REVIEWED:
        one = LookedAt(
            told["item_id"], told["site_id"], told["finding"], told["words"], event.by, event.at
        )
        return replace(state, looked_at={**state.looked_at, one.item_id: one})
    if event.kind == UNDONE:
        left = {key: one for key, one in state.looked_at.items() if key != told["item_id"]}
        return replace(state, looked_at=left)
    if event.kind == CLOSED:
        undecided = tuple(told["undecided"])
        closing = Closing(told["n_items"], undecided, told["words"], event.by, event.at)
        return replace(state, closing=closing)
    return replace(state, closing=None)


def plain_month(state: MonthReview) -> dict[str, str]:
    looks = {f"Item {one.item_id}": one.words for one in state.looked_at.values()}
    closing = state.closing
    if closing is None:
        return {"Month": state.month, **looks, "Closed": "no"}
    return {
        "Month": state.month,
        **looks,
        "Closed": f"yes, {closing.n_items - len(closing.undecided)} of {closing.n_items} decided",
        "Left undecided": "; ".join(closing.undecided),
        "Closing words": closing.words,
    }


MONTH_REVIEW = RecordClass("month review", "the review of", replay_month, plain_month)


def _require_open(state: MonthReview | None) -> None:
    if state is not None and state.closing is not None:
        raise FollowupError(
            f"the month was closed by {state.closing.by} on {state.closing.at[:10]}",
            where=state.month,
            expected="an open month",
            todo="Reopen it with a reason; nothing was changed",
            code="FUP-095",
        )


def look_at(
    state: MonthReview | None, *, item: CaseItem, site_id: str | None, words: str
) -> list[NewEvent]:
    """Leave an item on the list for another month. Raises: FollowupError FUP-095, FUP-011."""
    _require_open(state)
    data = {
        "item_id": item.item_id,
        "site_id": site_id,
        "finding": item.finding,
        "words": clean_text(words, field="what was found so far", longest=400),
    }
    return [NewEvent(REVIEWED, data)]


def undo_look(state: MonthReview | None, *, item_id: str, why: str) -> list[NewEvent]:
    """Raises: FollowupError FUP-095 (closed), FUP-096 (nothing to undo), FUP-011 (no reason)."""
    _require_open(state)
    if state is None or item_id not in state.looked_at:
        raise FollowupError(
            "there is no decision of this month to undo", where=item_id[:80], code="FUP-096"
        )
    return [NewEvent(UNDONE, {"item_id": item_id, "why": clean_text(why, field="why")})]


def close_month(
    state: MonthReview | None, *, n_items: int, undecided: Sequence[str], words: str
) -> list[NewEvent]:
    """Close a month's review; what is undecided is named in the record.

    Raises: FollowupError FUP-095 when it is closed; FUP-011 where items are undecided and nobody
        says why.
    """
    _require_open(state)
    told = clean_text(words, field="why items stay undecided", is_needed=bool(undecided))
    data = {"n_items": n_items, "undecided": list(undecided), "words": told}
    return [NewEvent(CLOSED, data)]


def reopen_month(state: MonthReview | None, *, why: str) -> list[NewEvent]:
    """Raises: FollowupError FUP-096 when it is not closed, FUP-011 without a reason."""
    if state is None or state.closing is None:
        raise FollowupError("the month is not closed", code="FUP-096")
    return [NewEvent(REOPENED, {"why": clean_text(why, field="why")})]
