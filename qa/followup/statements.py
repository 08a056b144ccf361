"""Signed statements: somebody answers for what no data show, from a month to a day."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from qa.followup.records import RecordClass, clean_text
from qa.model.document_words import EvidenceRule
from qa.model.errors import FollowupError
from qa.model.months import add_months
from qa.model.record import Event, NewEvent
from qa.model.requirement import Requirement

LONGEST_MONTHS = 24
"""A statement is renewed at least so often (proposal of this tool, no source)."""


@dataclass(frozen=True)
class Statement:
    """What somebody signed for.

    Args:
        site_id: None: for the whole network.
        from_month: first month that it speaks for, its first day.
        until: last day that it speaks for.
    """

    statement_id: str
    requirement_id: str
    site_id: str | None
    is_met: bool
    words: str
    from_month: date
    until: date
    by: str
    at: str
    withdrawn_by: str = ""
    withdrawn_at: str = ""
    withdrawn_because: str = ""
    n_events: int = 1

    def speaks_for(self, requirement_id: str, site_id: str, month: date) -> bool:
        """It covers the whole month, and the site or the network."""
        last_day = add_months(month, 1) - timedelta(days=1)
        return (
            self.requirement_id == requirement_id
            and self.site_id in (None, site_id)
            and not self.withdrawn_by
            and self.from_month <= month
            and last_day <= self.until
        )


def replay_statement(events: Sequence[Event]) -> Statement:
    first, last = events[0], events[-1]
    told = first.values
    is_withdrawn = last.kind == "withdrawn"
    return Statement(
        statement_id=first.record_id,
        requirement_id=told["requirement_id"],
        site_id=told["site_id"],
        is_met=told["is_met"],
        words=told["words"],
        from_month=date.fromisoformat(told["from_month"]),
        until=date.fromisoformat(told["until"]),
        by=first.by,
        at=first.at,
        withdrawn_by=last.by if is_withdrawn else "",
        withdrawn_at=last.at if is_withdrawn else "",
        withdrawn_because=last.values["why"] if is_withdrawn else "",
        n_events=last.no,
    )


def plain_statement(one: Statement) -> dict[str, str]:
    return {
        "Requirement": one.requirement_id,
        "Site": one.site_id or "whole network",
        "Says": "met" if one.is_met else "not met",
        "Words": one.words,
        "Speaks for": f"{one.from_month:%Y-%m} to {one.until}",
        "Withdrawn": one.withdrawn_because,
    }


STATEMENT = RecordClass("statement", "the statement", replay_statement, plain_statement)


def sign(
    one: Statement | None,
    requirement: Requirement,
    *,
    site_id: str | None,
    is_met: bool,
    words: str,
    from_month: date,
    until: date,
    on: date,
) -> list[NewEvent]:
    """Sign for a requirement that no data decide.

    Raises: FollowupError FUP-080 (it is computed from data), FUP-081 (a time that is none, or is
        too long, or lies ahead), FUP-011 to FUP-013.
    """
    if one is not None:
        raise FollowupError("it is there already", where=one.statement_id, code="FUP-021")
    if requirement.rule is not EvidenceRule.SIGNED:
        raise FollowupError(
            f"it is decided by data ({requirement.rule}), not by a signature",
            where=requirement.id,
            todo="See its evidence; nothing was signed",
            code="FUP-080",
        )
    last_day = add_months(from_month, 1) - timedelta(days=1)
    if not last_day <= until < add_months(from_month, LONGEST_MONTHS):
        raise FollowupError(
            f"from {from_month:%Y-%m} until {until}",
            where=requirement.id,
            expected=f"a time that covers a whole month and at most {LONGEST_MONTHS} months",
            code="FUP-081",
        )
    if from_month > on:
        raise FollowupError(f"{from_month:%Y-%m} lies ahead", where=requirement.id, code="FUP-081")
    data = {
        "requirement_id": requirement.id,
        "requirement_version": requirement.version,
        "site_id": site_id,
        "is_met": is_met,
        "words": clean_text(words, field="what was found"),
        "from_month": from_month.isoformat(),
        "until": until.isoformat(),
    }
    return [NewEvent("signed", data)]


def withdraw_statement(one: Statement | None, *, why: str) -> list[NewEvent]:
    """It stays in the record; months are no longer judged by it from then on."""
    if one is None or one.withdrawn_by:
        raise FollowupError("there is no such statement in force", code="FUP-014")
    return [NewEvent("withdrawn", {"why": clean_text(why, field="why")})]


def newest_for(
    statements: Iterable[Statement], requirement_id: str, site_id: str, month: date
) -> Statement | None:
    """The one that counts: the site's own before the network's, then the newest."""
    fitting = [one for one in statements if one.speaks_for(requirement_id, site_id, month)]
    return max(
        fitting,
        key=lambda one: (one.site_id is not None, one.at, one.statement_id),
        default=None,
    )
