"""The programme's record: events, and what the trail says of each change.

A record (a case, an annotation, an operator's file …) is what its events say, in their order.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Protocol


@dataclass(frozen=True)
class NewEvent:
    """Something decided. kind: past tense in words; data: plain JSON values."""

    kind: str
    data: Mapping[str, Any]


@dataclass(frozen=True)
class Event:
    """Something that was decided, as kept.

    Args:
        no: 1 for the first event of the record, without gaps.
        data: as JSON text, in its canonical form (parsed by `values`).
        at, by: ISO time in UTC, and the user id.
    """

    record_class: str
    record_id: str
    no: int
    kind: str
    data: str
    at: str
    by: str

    @property
    def values(self) -> dict[str, Any]:
        return json.loads(self.data)


@dataclass(frozen=True)
class Entry:
    """One line of the trail before it is sealed; before and after are plain text.

    record_no: number of the event it stands for; None where it stands for none (a log-in, a view,
    a change of a table that keeps no events).
    """

    at: str
    by: str
    action: str
    record_class: str
    record_id: str
    record_no: int | None = None
    before: str = ""
    after: str = ""


@dataclass(frozen=True)
class SealedEntry:
    """One row of the trail. Where the content expired, only what the chain needs is left.

    Args:
        no: 1, 2, 3 … without gaps.
        at, record_class: kept when the content expires, since they say what may expire.
        salt: random; without it nobody can try out what an expired row held. None: expired.
        event_digest: of the event that the row stands for.
        content_digest: of everything that may expire.
        previous_hash: hash of the row before; 64 zeros for the first.
        hash: of no, at, record_class, content_digest and previous_hash.
    """

    no: int
    at: str
    record_class: str
    salt: str | None
    by: str | None
    action: str | None
    record_id: str | None
    record_no: int | None
    before: str | None
    after: str | None
    event_digest: str | None
    content_digest: str
    previous_hash: str
    hash: str

    @property
    def is_expired(self) -> bool:
        return self.salt is None


class Seal(Protocol):
    """How an entry becomes a row of the chain (qa.followup.trail.seal_entry)."""

    def __call__(
        self, entry: Entry, event: Event | None, *, no: int, previous_hash: str, salt: str
    ) -> SealedEntry: ...


FIRST_PREVIOUS = "0" * 64


def time_text(moment: datetime) -> str:
    """A moment as the record writes it. Raises: ValueError when it names no time zone (our bug).

    Example: 2026-11-25 03:20 UTC → '2026-11-25T03:20:00.000000+00:00'
    """
    if moment.tzinfo is None:
        raise ValueError("a time without a zone")
    return moment.astimezone(UTC).isoformat(timespec="microseconds")
