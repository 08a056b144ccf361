"""Comparing events with the trail, and letting content expire."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from qa.model.record import Event, SealedEntry
from qa.stores.followup.store import Reading, Writing, entry_of, event_of
from qa.stores.followup.tables import EVENTS, TRAIL

_PAGE = 2_000
_SAME_EVENT = sa.and_(
    TRAIL.c.record_class == EVENTS.c.record_class,
    TRAIL.c.record_id == EVENTS.c.record_id,
    TRAIL.c.event_no == EVENTS.c.event_no,
)
EXPIRED_EVENT = {"kind": None, "data": None, "recorded_by": None}
EXPIRED_ENTRY = {
    "salt": None,
    "recorded_by": None,
    "action": None,
    "record_id": None,
    "event_no": None,
    "text_before": None,
    "text_after": None,
    "event_digest": None,
}


def events_with_entries(
    reading: Reading,
) -> Iterator[tuple[Event | None, SealedEntry | None]]:
    """Each event with content beside its row of the trail; None where one of them is missing."""
    after = 0
    while True:
        query = sa.select(EVENTS).where(EVENTS.c.kind.is_not(None), EVENTS.c.event_seq > after)
        events = reading.connection.execute(query.order_by(EVENTS.c.event_seq).limit(_PAGE)).all()
        found = _entries_of(reading.connection, [event.event_seq for event in events])
        for event in events:
            yield event_of(event), found.get(event.event_seq)
        if len(events) < _PAGE:
            break
        after = events[-1].event_seq
    orphans = (
        sa.select(TRAIL)
        .join(EVENTS, _SAME_EVENT, isouter=True)
        .where(TRAIL.c.event_no.is_not(None), EVENTS.c.kind.is_(None))
    )
    for row in reading.connection.execute(orphans.order_by(TRAIL.c.entry_no)):
        yield None, entry_of(row)


def _entries_of(connection: Connection, event_seqs: list[int]) -> dict[int, SealedEntry]:
    if not event_seqs:
        return {}
    query = (
        sa.select(EVENTS.c.event_seq, *TRAIL.c)
        .select_from(EVENTS.join(TRAIL, _SAME_EVENT))
        .where(EVENTS.c.event_seq.between(event_seqs[0], event_seqs[-1]))
    )
    return {row.event_seq: entry_of(row) for row in connection.execute(query)}


@dataclass(frozen=True)
class Expired:
    """How much content was taken out."""

    n_entries: int
    n_records: int


def expire_content(
    writing: Writing, record_class: str, *, before: str, kept: Collection[str] = ()
) -> Expired:
    """Empty what a class held before a time; numbers, times and hashes stay.

    A record with events goes as a whole, when its newest event is older.

    Args:
        before: ISO time in UTC.
        kept: ids of records that stay whatever their age (open cases).
    """
    newest = sa.func.max(EVENTS.c.recorded_at)
    query = (
        sa.select(EVENTS.c.record_id)
        .where(EVENTS.c.record_class == record_class, EVENTS.c.kind.is_not(None))
        .group_by(EVENTS.c.record_id)
        .having(newest < before)
    )
    old = [one for one in writing.connection.execute(query).scalars() if one not in set(kept)]
    n_entries = 0
    for record_id in old:
        of_record = (EVENTS.c.record_class == record_class, EVENTS.c.record_id == record_id)
        writing.connection.execute(EVENTS.update().where(*of_record).values(**EXPIRED_EVENT))
        n_entries += _expire_entries(
            writing, record_class, TRAIL.c.record_id == record_id, TRAIL.c.recorded_at < before
        )
    n_entries += _expire_entries(
        writing,
        record_class,
        TRAIL.c.recorded_at < before,
        TRAIL.c.record_id.not_in(
            sa.select(EVENTS.c.record_id).where(EVENTS.c.record_class == record_class)
        ),
    )
    return Expired(n_entries, len(old))


def _expire_entries(
    writing: Writing, record_class: str, *conditions: sa.ColumnElement[bool]
) -> int:
    done = writing.connection.execute(
        TRAIL.update()
        .where(TRAIL.c.record_class == record_class, TRAIL.c.salt.is_not(None), *conditions)
        .values(**EXPIRED_ENTRY)
    )
    return done.rowcount
