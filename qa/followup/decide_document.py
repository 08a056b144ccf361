"""Decisions on documents: propose, approve with a second pair of eyes, read, end."""

from dataclasses import dataclass
from datetime import date

from qa.followup.documents import Document
from qa.followup.records import clean_text
from qa.model.document_words import DocumentKind
from qa.model.errors import FollowupError
from qa.model.record import NewEvent

MAX_CONTENT = 100_000
"""Characters of a document that are kept whole; of longer ones only the fingerprint is."""


@dataclass(frozen=True)
class Draft:
    """A version of a document before it is proposed; see qa.followup.documents.Document."""

    kind: DocumentKind
    series: str
    version: int
    title: str
    fingerprint: str
    content: str = ""
    site_id: str | None = None
    differences: tuple[str, ...] = ()

    @property
    def document_id(self) -> str:
        """Versions of measures share an id, so that it is added: "MSR-013.v2"."""
        ending = f".v{self.version}"
        return self.series + ("" if self.series.endswith(ending) else ending)


def propose(
    document: Document | None, draft: Draft, *, from_day: date, changes: str
) -> list[NewEvent]:
    """Raises: FollowupError FUP-070 when this version was proposed already and not turned down."""
    if document is not None and not document.refused_by:
        raise FollowupError(
            f"this version was proposed already, by {document.proposed_by}",
            where=document.document_id,
            expected="a new version: what is in force or waits is never changed",
            code="FUP-070",
        )
    data = {
        "kind": str(draft.kind),
        "series": draft.series,
        "version": draft.version,
        "title": clean_text(draft.title, field="title", longest=200),
        "site_id": draft.site_id,
        "fingerprint": draft.fingerprint,
        "content": draft.content if len(draft.content) <= MAX_CONTENT else "",
        "from_day": from_day.isoformat(),
        "changes": clean_text(changes, field="what changed"),
        "differences": list(draft.differences),
    }
    return [NewEvent("proposed again" if document else "proposed", data)]


def approve(
    document: Document | None, *, by: str, fingerprint: str = "", words: str = ""
) -> list[NewEvent]:
    """Approve a proposal.

    Args:
        by: may not be who proposed it.
        fingerprint: of what the approver saw; "" does not ask.
    Raises: FollowupError FUP-071 (nothing waits), FUP-072 (the same person), FUP-073 (the content
        is another than the one seen).
    """
    waiting = _waiting(document)
    if by == waiting.proposed_by:
        raise FollowupError(
            f"{by} proposed it",
            where=waiting.document_id,
            expected="approval by somebody else (four eyes)",
            code="FUP-072",
        )
    if fingerprint and fingerprint != waiting.fingerprint:
        raise FollowupError(
            f"the proposal has the fingerprint {waiting.fingerprint}, not {fingerprint[:20]}",
            where=waiting.document_id,
            todo="Look at it again; nothing was approved",
            code="FUP-073",
        )
    return [NewEvent("approved", {"words": clean_text(words, field="words", is_needed=False)})]


def turn_down(document: Document | None, *, why: str) -> list[NewEvent]:
    """Raises: FollowupError FUP-071 when nothing waits for approval, FUP-011 without a reason."""
    _waiting(document)
    return [NewEvent("not approved", {"why": clean_text(why, field="why")})]


def _waiting(document: Document | None) -> Document:
    if document is None or document.is_approved or document.refused_by:
        raise FollowupError(
            "it does not wait for approval",
            where=document.document_id if document else "",
            expected="a proposed document",
            code="FUP-071",
        )
    return document


def confirm_reading(
    document: Document | None, *, by: str, sites: tuple[str, ...]
) -> list[NewEvent]:
    """Say that one has read it; before it is in force too.

    Raises: FollowupError FUP-074 when it is not approved, or this person has confirmed it already.
    """
    if document is None or not document.is_approved:
        raise FollowupError(
            "it is not approved", where=document.document_id if document else "", code="FUP-074"
        )
    if by in {reader.by for reader in document.reads}:
        raise FollowupError(
            f"{by} confirmed it already", where=document.document_id, code="FUP-074"
        )
    return [NewEvent("read", {"sites": list(sites)})]


def end(document: Document | None, *, on: date, why: str) -> list[NewEvent]:
    """Say from which day on it is no longer in force.

    Raises: FollowupError FUP-076 when it is not approved, ended already, or the day is too early.
    """
    if document is None or not document.is_approved or document.ended_on is not None:
        raise FollowupError(
            "only what is approved and has no end can be ended",
            where=document.document_id if document else "",
            code="FUP-076",
        )
    if on < document.from_day:
        raise FollowupError(
            f"{on} lies before its first day, {document.from_day}",
            where=document.document_id,
            code="FUP-076",
        )
    return [NewEvent("ended", {"on": on.isoformat(), "why": clean_text(why, field="why")})]
