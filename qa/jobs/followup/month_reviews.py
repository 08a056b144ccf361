"""Decide a month's list on the Month screen: look again, undo, close the month, reopen it."""

from collections.abc import Callable, Sequence
from datetime import date

from qa.followup import month_reviews
from qa.followup.cases import Case
from qa.followup.month_reviews import MONTH_REVIEW, MonthReview
from qa.followup.reviews import Review
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.evidence import find_item
from qa.jobs.followup.opening import change_record
from qa.jobs.followup.signals import take_up_item
from qa.model.errors import FollowupError
from qa.model.permissions import Permission, may, require
from qa.model.published import Published
from qa.model.record import NewEvent
from qa.views.followup import decided_items
from qa.views.worklist import WorkItem, work_items


def month_review(desk: CaseDesk, month: date) -> MonthReview:
    """What was decided about a month; an empty review where nothing was.

    Items of sites that the reader may not see are left out.
    """
    name = month_name_of(month)
    with desk.store.reading() as reading:
        events = reading.events(MONTH_REVIEW.name, name)
    if not events:
        return MonthReview(name)
    state = MONTH_REVIEW.replay(events)
    seen = {
        key: one
        for key, one in state.looked_at.items()
        if may(desk.actor, Permission.SEE_CASES, site_id=one.site_id)
    }
    return MonthReview(state.month, seen, state.closing, state.n_events)


def month_name_of(month: date) -> str:
    return f"{month:%Y-%m}"


def look_again(
    desk: CaseDesk, item_id: str, *, month: date, words: str, published: Published
) -> MonthReview:
    """Leave an item on the list until next month, with what was found so far.

    Raises: AccessRefused; FollowupError FUP-020 (no such item), FUP-095 (the month is closed),
        FUP-011 (no words).
    """
    item, site_id = find_item(published, item_id)
    return _change(
        desk,
        month,
        lambda state: month_reviews.look_at(state, item=item, site_id=site_id, words=words),
    )


def undo_decision(desk: CaseDesk, item_id: str, *, month: date, why: str) -> None:
    """Take back that an item is not pursued, or that it waits for next month.

    Raises: AccessRefused; FollowupError FUP-096 (nothing to undo), FUP-095, FUP-011. A case is
        never undone; it has its own states.
    """
    if any(one.item_id == item_id and one.is_dismissed for one in desk.reviews()):
        take_up_item(desk.store, item_id, why=why, actor=desk.actor, at=desk.at)
        return
    _change(desk, month, lambda state: month_reviews.undo_look(state, item_id=item_id, why=why))


def close_month(desk: CaseDesk, *, month: date, words: str, published: Published) -> MonthReview:
    """Close a month's review; items without a decision are named in the record.

    Raises: AccessRefused; FollowupError FUP-095 (closed already), FUP-011 (undecided items and no
        reason).
    """
    require(desk.actor, Permission.DECIDE_CASES)
    items = work_items(published, published.frame("signals", month=month))
    left = undecided(items, desk.cases(), desk.reviews(), month_review(desk, month), on=desk.today)
    return _change(
        desk,
        month,
        lambda state: month_reviews.close_month(
            state,
            n_items=len(items),
            undecided=[one.finding for one in left],
            words=words,
        ),
    )


def undecided(
    items: Sequence[WorkItem],
    cases: Sequence[Case],
    reviews: Sequence[Review],
    month: MonthReview,
    *,
    on: date,
) -> list[WorkItem]:
    """Items of the list that nobody has decided on."""
    known = decided_items(cases, reviews, on=on, month=month)
    return [item for item in items if item.item_id not in known]


def reopen_month(desk: CaseDesk, *, month: date, why: str) -> MonthReview:
    """Raises: AccessRefused; FollowupError FUP-096 (not closed), FUP-011 (no reason)."""
    return _change(desk, month, lambda state: month_reviews.reopen_month(state, why=why))


def _change(
    desk: CaseDesk, month: date, decide: Callable[[MonthReview | None], list[NewEvent]]
) -> MonthReview:
    actor = require(desk.actor, Permission.DECIDE_CASES)
    if month > desk.today:
        raise FollowupError("the month has not come yet", where=str(month), code="FUP-096")
    with desk.store.writing() as writing:
        return change_record(
            writing, MONTH_REVIEW, month_name_of(month), decide, by=actor.user_id, at=desk.at
        )
