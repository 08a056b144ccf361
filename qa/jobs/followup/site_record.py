"""The record of one site as the Record screen shows it, and signing as its form says it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from qa.followup.compliance import Verdict
from qa.followup.documents import DOCUMENT, Document
from qa.followup.statements import Statement
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.opening import replay_all
from qa.jobs.followup.record_desk import RecordDesk
from qa.jobs.followup.record_forms import day_of
from qa.model.errors import FollowupError, UserError
from qa.model.months import parse_month
from qa.model.permissions import Permission, may, sites_seen
from qa.model.record import time_text


@dataclass(frozen=True)
class SiteRecord:
    """What the Record screen shows of one site.

    Args:
        sites: those whose record this person may see.
        documents: as they stood when the newest month asked for was known.
    """

    site_id: str
    sites: list[str]
    verdicts: list[Verdict]
    documents: list[Document]
    can_sign: bool


def read_site(
    desk: CaseDesk | None,
    sites: Sequence[str],
    *,
    site_id: str | None,
    months: Sequence[date],
    is_then: bool,
) -> SiteRecord | None:
    """One site's record as the person at a desk may see it.

    Args: site_id: None: the first site that they may see.
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
    verdicts = own.verdicts(chosen, months, is_then=is_then)
    known_at = max((one.known_at for one in verdicts), default=desk.at)
    with desk.store.reading() as reading:
        events = [one for one in reading.events(DOCUMENT.name) if one.at <= time_text(known_at)]
    can_sign = may(desk.actor, Permission.SIGN_REQUIREMENTS, site_id=chosen)
    return SiteRecord(chosen, seen, verdicts, replay_all(DOCUMENT, events), can_sign)


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
