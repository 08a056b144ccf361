"""Documents under control: one record for each version of a protocol or definition file.

Proposed by one person, approved by another (four eyes), in force from a day on, read by those who
work by it, and ended by the version that follows. The content is kept whole, with its fingerprint.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from qa.followup.records import RecordClass
from qa.model.document_words import DocumentKind, DocumentState
from qa.model.record import Event


@dataclass(frozen=True)
class ReadBy:
    """Somebody says that they read a document."""

    by: str
    at: str
    sites: tuple[str, ...]


@dataclass(frozen=True)
class Document:
    """One version of a document, as its events say.

    Args:
        document_id: with its version, for example "common-practice.v1".
        series: the id without its version; versions of one series follow each other.
        site_id: None: it holds for the whole network.
        content: the text; "" where only the fingerprint is kept (no text, or too long).
        changes: what changed, in the words of whoever proposed it.
        differences: what changed against the version before, as worked out from both texts.
        approved_by: "" while nobody has approved it.
        ended_on: first day on which it is no longer in force.
    """

    document_id: str
    kind: DocumentKind
    series: str
    version: int
    title: str
    site_id: str | None
    fingerprint: str
    content: str
    from_day: date
    changes: str
    differences: tuple[str, ...]
    proposed_by: str
    proposed_at: str
    approved_by: str = ""
    approved_at: str = ""
    approval_words: str = ""
    refused_by: str = ""
    refused_because: str = ""
    ended_on: date | None = None
    ended_because: str = ""
    reads: tuple[ReadBy, ...] = ()
    n_events: int = 1

    @property
    def is_approved(self) -> bool:
        return bool(self.approved_by)

    def state_on(self, day: date) -> DocumentState:
        if self.refused_by:
            return DocumentState.REFUSED
        if not self.is_approved:
            return DocumentState.PROPOSED
        if self.ended_on is not None and day >= self.ended_on:
            return DocumentState.ENDED
        return DocumentState.IN_FORCE if day >= self.from_day else DocumentState.APPROVED


def replay_document(events: Sequence[Event]) -> Document:
    document = _proposed(events[0])
    for event in events[1:]:
        document = replace(_after(document, event), n_events=event.no)
    return document


def _proposed(event: Event) -> Document:
    told = event.values
    return Document(
        document_id=event.record_id,
        kind=DocumentKind(told["kind"]),
        series=told["series"],
        version=told["version"],
        title=told["title"],
        site_id=told["site_id"],
        fingerprint=told["fingerprint"],
        content=told["content"],
        from_day=date.fromisoformat(told["from_day"]),
        changes=told["changes"],
        differences=tuple(told["differences"]),
        proposed_by=event.by,
        proposed_at=event.at,
        n_events=event.no,
    )


def _after(document: Document, event: Event) -> Document:
    told = event.values
    if event.kind == "proposed again":
        return _proposed(event)
    if event.kind == "approved":
        return replace(
            document, approved_by=event.by, approved_at=event.at, approval_words=told["words"]
        )
    if event.kind == "not approved":
        return replace(document, refused_by=event.by, refused_because=told["why"])
    if event.kind == "ended":
        on = date.fromisoformat(told["on"])
        return replace(document, ended_on=on, ended_because=told["why"])
    reader = ReadBy(event.by, event.at, tuple(told["sites"]))
    return replace(document, reads=(*document.reads, reader))


def plain_document(one: Document) -> dict[str, str]:
    return {
        "Kind": one.kind,
        "Title": one.title,
        "Version": str(one.version),
        "Holds for": one.site_id or "whole network",
        "Fingerprint": one.fingerprint,
        "In force from": str(one.from_day),
        "What changed": one.changes,
        "Differences": "; ".join(one.differences),
        "Proposed by": one.proposed_by,
        "Approved by": f"{one.approved_by} {one.approval_words}".strip(),
        "Not approved": f"{one.refused_by}: {one.refused_because}" if one.refused_by else "",
        "Ended": f"{one.ended_on}: {one.ended_because}" if one.ended_on else "",
        "Read by": ", ".join(f"{reader.by} ({reader.at[:10]})" for reader in one.reads),
    }


DOCUMENT = RecordClass(
    "document",
    "the document",
    replay_document,
    plain_document,
    harmless=frozenset({"read"}),
)
