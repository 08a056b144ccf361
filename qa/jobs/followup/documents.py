"""Documents under control: propose, approve, read, end; and whether network.toml keeps to them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from qa.followup import decide_document as decide
from qa.followup.approval import require_approved
from qa.followup.decide_document import Draft
from qa.followup.differences import find_differences
from qa.followup.documents import DOCUMENT, Document
from qa.jobs.followup.opening import change_record, load_record, load_records, open_record
from qa.model.definitions import Network
from qa.model.document_words import DocumentKind
from qa.model.permissions import Actor, Permission, require
from qa.model.published import Definitions
from qa.model.record import NewEvent
from qa.stores.followup.store import FollowupStore, Writing

Decide = Callable[[Document | None], list[NewEvent]]


@dataclass(frozen=True)
class DocumentDesk:
    """Somebody at work on documents: the store, who it is, and now.

    Args:
        actor: None: nobody is logged in; everything is refused.
        at: now, UTC. Its date is today.
    """

    store: FollowupStore
    actor: Actor | None
    at: datetime

    @property
    def today(self) -> date:
        return self.at.date()

    def documents(self) -> list[Document]:
        """All versions of all documents, in the order in which they were proposed."""
        require(self.actor, Permission.SEE_DOCUMENTS)
        with self.store.reading() as reading:
            return load_records(reading, DOCUMENT)

    def document(self, document_id: str) -> Document:
        """Raises: AccessRefused; FollowupError FUP-014 when there is none."""
        require(self.actor, Permission.SEE_DOCUMENTS)
        with self.store.reading() as reading:
            return load_record(reading, DOCUMENT, document_id)

    def propose(self, draft: Draft, *, from_day: date, changes: str, before: str = "") -> Document:
        """Propose a version; it waits for somebody else's approval.

        Args:
            before: text of the version before; "": that of the version before in the record.
        Raises: AccessRefused; FollowupError FUP-070, FUP-011 to FUP-013.
        """
        actor = require(self.actor, Permission.PROPOSE_DOCUMENTS, site_id=draft.site_id)
        with self.store.writing() as writing:
            earlier = before or _text_before(writing, draft)
            told = find_differences(earlier, draft.content)
            whole = Draft(**{**vars(draft), "differences": told})
            return change_record(
                writing,
                DOCUMENT,
                draft.document_id,
                lambda one: decide.propose(one, whole, from_day=from_day, changes=changes),
                by=actor.user_id,
                at=self.at,
            )

    def approve(
        self, document_id: str, *, fingerprint: str = "", words: str = "", seen: int | None = None
    ) -> Document:
        """Approve a proposal; what it follows ends on its first day, in the same transaction.

        Raises: AccessRefused; FollowupError FUP-010, FUP-014, FUP-071 to FUP-073.
        """
        actor = require(self.actor, Permission.APPROVE_DOCUMENTS)
        with self.store.writing() as writing:
            load_record(writing, DOCUMENT, document_id)
            approved = change_record(
                writing,
                DOCUMENT,
                document_id,
                lambda one: decide.approve(
                    one, by=actor.user_id, fingerprint=fingerprint, words=words
                ),
                by=actor.user_id,
                at=self.at,
                seen_no=seen,
            )
            for older in load_records(writing, DOCUMENT):
                if _is_followed_by(older, approved):
                    self._end(writing, older, approved)
        return approved

    def _end(self, writing: Writing, older: Document, newer: Document) -> None:
        why = f"{newer.document_id} takes its place"
        change_record(
            writing,
            DOCUMENT,
            older.document_id,
            lambda one: decide.end(one, on=max(newer.from_day, older.from_day), why=why),
            by=self.actor.user_id if self.actor else "",
            at=self.at,
        )

    def turn_down(self, document_id: str, *, why: str, seen: int | None = None) -> Document:
        """Raises: AccessRefused; FollowupError FUP-010, FUP-011, FUP-014, FUP-071."""
        actor = require(self.actor, Permission.APPROVE_DOCUMENTS)
        return self._change(document_id, lambda one: decide.turn_down(one, why=why), actor, seen)

    def confirm_reading(self, document_id: str) -> Document:
        """Raises: AccessRefused; FollowupError FUP-014, FUP-074."""
        by = self.actor.user_id if self.actor else ""
        actor = require(self.actor, Permission.CONFIRM_READING, owner=by)
        return self._change(
            document_id,
            lambda one: decide.confirm_reading(one, by=actor.user_id, sites=actor.sites),
            actor,
        )

    def end(self, document_id: str, *, on: date, why: str, seen: int | None = None) -> Document:
        """Raises: AccessRefused; FollowupError FUP-010, FUP-011, FUP-014, FUP-076."""
        actor = require(self.actor, Permission.APPROVE_DOCUMENTS)
        return self._change(document_id, lambda one: decide.end(one, on=on, why=why), actor, seen)

    def _change(
        self, document_id: str, what: Decide, actor: Actor, seen: int | None = None
    ) -> Document:
        with self.store.writing() as writing:
            load_record(writing, DOCUMENT, document_id)
            return change_record(
                writing, DOCUMENT, document_id, what, by=actor.user_id, at=self.at, seen_no=seen
            )


def _text_before(writing: Writing, draft: Draft) -> str:
    """The newest earlier version of the same series."""
    known = [
        one
        for one in load_records(writing, DOCUMENT)
        if (one.series, one.site_id) == (draft.series, draft.site_id)
        and one.version < draft.version
    ]
    return max(known, key=lambda one: one.version).content if known else ""


def _is_followed_by(older: Document, newer: Document) -> bool:
    """Criteria sets follow each other whatever their name, since one judges at a time."""
    is_same = (older.series, older.site_id) == (newer.series, newer.site_id)
    is_criteria = older.kind is newer.kind is DocumentKind.CRITERIA
    return (
        (is_same or is_criteria)
        and older.document_id != newer.document_id
        and older.is_approved
        and older.ended_on is None
        and older.from_day <= newer.from_day
    )


def refuse_unapproved(
    folder: Path, network: Network, definitions: Definitions, *, environ: Mapping[str, str]
) -> None:
    """Refuse criteria sets in force that lack an approval, where the network asks for it.

    Raises: FollowupError FUP-075, FUP-001 to FUP-006.
    """
    if not network.settings.criteria_need_approval:
        return
    store = open_record(folder, environ=environ)
    try:
        with store.reading() as reading:
            require_approved(network, definitions.criteria, load_records(reading, DOCUMENT))
    finally:
        store.close()
