"""Rows of the queue of reminders."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass

import sqlalchemy as sa

from qa.stores.followup.store import Reading, Writing
from qa.stores.followup.tables import REMINDERS


@dataclass(frozen=True)
class Reminder:
    """Somebody is to be told of something overdue. sent_at None: it waits."""

    reminder_id: str
    record_class: str
    record_id: str
    what: str
    for_user: str
    due_on: str
    queued_at: str
    sent_at: str | None


def insert_new(writing: Writing, wanted: Sequence[Reminder]) -> list[Reminder]:
    """Those that are not in the queue yet, and now are."""
    ids = [one.reminder_id for one in wanted]
    query = sa.select(REMINDERS.c.reminder_id).where(REMINDERS.c.reminder_id.in_(ids))
    known = set(writing.connection.execute(query).scalars())
    new = [one for one in wanted if one.reminder_id not in known]
    if new:
        writing.connection.execute(REMINDERS.insert(), [asdict(one) for one in new])
    return new


def waiting(reading: Reading) -> list[Reminder]:
    query = sa.select(REMINDERS).where(REMINDERS.c.sent_at.is_(None))
    rows = reading.connection.execute(query.order_by(REMINDERS.c.due_on, REMINDERS.c.reminder_id))
    return [Reminder(**row._mapping) for row in rows]


def mark_sent(writing: Writing, reminder_ids: Sequence[str], *, at: str) -> list[str]:
    """Returns: ids that waited until now."""
    waited = {one.reminder_id for one in waiting(writing)}
    sent = [one for one in reminder_ids if one in waited]
    writing.connection.execute(
        REMINDERS.update().where(REMINDERS.c.reminder_id.in_(sent)).values(sent_at=at)
    )
    return sent
