"""A signal that was reviewed and is not pursued, with its reason; or taken up again later."""

from collections.abc import Sequence
from dataclasses import dataclass

from qa.followup.cases import CaseItem
from qa.followup.records import RecordClass, clean_text
from qa.model.errors import FollowupError
from qa.model.record import Event, NewEvent


@dataclass(frozen=True)
class Review:
    """What was decided about one item of the month's list. is_dismissed: it is not pursued."""

    item_id: str
    site_id: str | None
    finding: str
    is_dismissed: bool
    why: str
    by: str
    at: str
    n_events: int


def replay_review(events: Sequence[Event]) -> Review:
    first, last = events[0].values, events[-1]
    return Review(
        item_id=last.record_id,
        site_id=first["site_id"],
        finding=first["finding"],
        is_dismissed=last.kind == "not pursued",
        why=last.values["why"],
        by=last.by,
        at=last.at,
        n_events=last.no,
    )


def plain_review(review: Review) -> dict[str, str]:
    return {
        "Item": review.item_id,
        "Site": review.site_id or "whole network",
        "Finding": review.finding,
        "Decision": "not pursued" if review.is_dismissed else "taken up again",
        "Why": review.why,
    }


REVIEW = RecordClass("signal review", "the review of", replay_review, plain_review)


def dismiss(
    review: Review | None, *, item: CaseItem, site_id: str | None, why: str
) -> list[NewEvent]:
    """Raises: FollowupError FUP-034 when it is not pursued already, FUP-011 without a reason."""
    if review is not None and review.is_dismissed:
        raise FollowupError(
            f"it is not pursued already ({review.by}: {review.why})",
            where=review.item_id,
            code="FUP-034",
        )
    data = {
        "site_id": site_id,
        "finding": item.finding,
        "month": item.month,
        "why": clean_text(why, field="why"),
    }
    return [NewEvent("not pursued", data)]


def take_up(review: Review | None, *, why: str) -> list[NewEvent]:
    """Raises: FollowupError FUP-034 when it was never dismissed."""
    if review is None or not review.is_dismissed:
        raise FollowupError(
            "it was not dismissed", where=review.item_id if review else "", code="FUP-034"
        )
    return [NewEvent("taken up again", {"why": clean_text(why, field="why")})]
