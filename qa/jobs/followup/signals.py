"""Signals that were reviewed: not pursued, with a reason, or taken up again."""

from datetime import datetime

from qa.followup import reviews
from qa.followup.case_events import CASE
from qa.followup.reviews import REVIEW, Review
from qa.jobs.followup.evidence import find_item
from qa.jobs.followup.opening import change_record, load_records
from qa.model.errors import FollowupError
from qa.model.permissions import Actor, Permission, may, require
from qa.model.published import Published
from qa.stores.followup.store import FollowupStore


def dismiss_item(
    store: FollowupStore,
    item_id: str,
    *,
    why: str,
    published: Published,
    actor: Actor | None,
    at: datetime,
) -> Review:
    """Review an item of the month's list and not pursue it.

    Raises: AccessRefused; FollowupError FUP-011 (no reason), FUP-020 (no such item), FUP-034
        (dismissed already), FUP-036 (an open case works on it).
    """
    actor = require(actor, Permission.DECIDE_CASES)
    item, site_id = find_item(published, item_id)
    with store.writing() as writing:
        for case in load_records(writing, CASE):
            if not case.is_closed and item.item_id in {one.item_id for one in case.items}:
                raise FollowupError(
                    f"{case.case_id} works on it", where=item.item_id, code="FUP-036"
                )
        return change_record(
            writing,
            REVIEW,
            item.item_id,
            lambda review: reviews.dismiss(review, item=item, site_id=site_id, why=why),
            by=actor.user_id,
            at=at,
        )


def take_up_item(
    store: FollowupStore, item_id: str, *, why: str, actor: Actor | None, at: datetime
) -> Review:
    """Raises: AccessRefused; FollowupError FUP-034 when it was not dismissed."""
    actor = require(actor, Permission.DECIDE_CASES)
    with store.writing() as writing:
        return change_record(
            writing,
            REVIEW,
            item_id,
            lambda review: reviews.take_up(review, why=why),
            by=actor.user_id,
            at=at,
        )


def list_reviews(store: FollowupStore, *, actor: Actor | None) -> list[Review]:
    """Reviews that this person may see."""
    with store.reading() as reading:
        found = load_records(reading, REVIEW)
    return [one for one in found if may(actor, Permission.SEE_CASES, site_id=one.site_id)]
