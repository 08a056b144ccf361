"""The record of one site as the Record screen shows it, and signing as its form says it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from qa.followup.compliance import Verdict
from qa.followup.documents import DOCUMENT, Document
from qa.followup.statements import STATEMENT, Statement
from qa.followup.trail import TrailCheck
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.opening import no_such_record
from qa.jobs.followup.record_desk import RecordDesk
from qa.jobs.followup.record_forms import day_of
from qa.jobs.followup.recorded import read_recorded
from qa.jobs.users.opening import names_of_people
from qa.model.errors import FollowupError, UserError
from qa.model.months import parse_month
from qa.model.permissions import Permission, may, sites_seen


@dataclass(frozen=True)
class SiteRecord:
    """What the Record screen shows of one site.

    Args:
        sites: those whose record this person may see.
        documents, statements: as they stood when the chosen month was known.
        trail: as it was walked now.
        names: account's id → name.
    """

    site_id: str
    sites: list[str]
    verdicts: list[Verdict]
    documents: list[Document]
    statements: list[Statement]
    trail: TrailCheck
    can_sign: bool
    can_see_trail: bool
    names: dict[str, str]


def read_site(
    desk: CaseDesk | None,
    sites: Sequence[str],
    *,
    site_id: str | None,
    month: date,
    months: Sequence[date],
    is_then: bool,
) -> SiteRecord | None:
    """One site's record as the person at a desk may see it.

    Args:
        site_id: None: the first site that they may see.
        months: those on show, the chosen month among them.
    Returns: None without a desk, an archive, or a site.
    Raises: AccessRefused for a site that they may not see; SnapshotError.
    """
    if desk is None or desk.archive is None:
        return None
    seen = sites_seen(desk.actor, Permission.SEE_REQUIREMENTS, sites)
    if not seen:
        return None
    own = RecordDesk(desk.store, desk.archive, desk.actor, desk.at)
    chosen = site_id or seen[0]
    recorded = read_recorded(desk.store, at=desk.at)
    known_at, _ = own.moment(month, is_then=is_then)
    statements = recorded.records_at(STATEMENT, known_at)
    return SiteRecord(
        site_id=chosen,
        sites=seen,
        verdicts=own.verdicts(chosen, months, is_then=is_then, recorded=recorded),
        documents=[
            one
            for one in recorded.records_at(DOCUMENT, known_at)
            if one.site_id is None or one.site_id == chosen
        ],
        statements=[one for one in statements if one.site_id in (None, chosen)],
        trail=recorded.trail,
        can_sign=may(desk.actor, Permission.SIGN_REQUIREMENTS, site_id=chosen),
        can_see_trail=may(desk.actor, Permission.SEE_TRAIL),
        names=names_of_people(desk.store),
    )


def sign_for(
    desk: CaseDesk, requirement_id: str, *, site_id: str, form: Mapping[str, str]
) -> Statement:
    """Sign as a form says it.

    Raises: AccessRefused; FollowupError FUP-011 (nothing chosen), FUP-037 (no day), those of sign.
    """
    if desk.archive is None or form.get("answer") not in ("met", "not met"):
        raise FollowupError(
            "nothing is chosen",
            where="the requirement is",
            expected="met or not met",
            code="FUP-011",
        )
    try:
        from_month = parse_month(form.get("from_month", ""))
    except UserError as problem:
        raise FollowupError(problem.what, where="from the month", code="FUP-037") from None
    return RecordDesk(desk.store, desk.archive, desk.actor, desk.at).sign(
        requirement_id,
        site_id=site_id,
        is_met=form["answer"] == "met",
        words=form.get("words", ""),
        from_month=from_month,
        until=day_of(form, "until"),
    )


def find_statement(desk: CaseDesk, statement_id: str) -> Statement:
    """Raises: FollowupError FUP-014 where there is none that this person may see."""
    found = {one.statement_id: one for one in _record_desk(desk).statements()}
    if statement_id not in found:
        raise no_such_record(STATEMENT, statement_id)
    return found[statement_id]


def withdraw_statement(desk: CaseDesk, statement_id: str, *, form: Mapping[str, str]) -> Statement:
    """Raises: AccessRefused; FollowupError FUP-014, FUP-011."""
    return _record_desk(desk).withdraw(statement_id, why=form.get("why", ""))


def _record_desk(desk: CaseDesk) -> RecordDesk:
    """Raises: FollowupError FUP-014 where nothing is published."""
    if desk.archive is None:
        raise FollowupError("there is no record here", code="FUP-014")
    return RecordDesk(desk.store, desk.archive, desk.actor, desk.at)
