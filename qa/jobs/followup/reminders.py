"""The queue of reminders: what is overdue waits here once until somebody is told."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256

from qa.followup.case_events import CASE
from qa.followup.due import Due, due_items
from qa.jobs.followup.opening import load_records
from qa.model.permissions import Actor, Permission, may
from qa.model.record import Entry, time_text
from qa.stores.followup.reminders import Reminder, insert_new, mark_sent, waiting
from qa.stores.followup.store import FollowupStore

QUEUE = "reminder"


@dataclass(frozen=True)
class Queued:
    """What a run put into the queue, and how many wait in all."""

    new: tuple[Reminder, ...]
    n_waiting: int


def overdue_items(store: FollowupStore, *, actor: Actor | None, at: datetime) -> list[Due]:
    """Overdue cases that this person may see, the longest overdue first."""
    with store.reading() as reading:
        found = due_items(load_records(reading, CASE), on=at.date())
    return [
        one
        for one in found
        if one.is_overdue and may(actor, Permission.SEE_CASES, site_id=one.site_id)
    ]


def queue_reminders(store: FollowupStore, *, at: datetime, by: str) -> Queued:
    """Put everything overdue into the queue that is not in it yet. Twice changes nothing."""
    with store.writing() as writing:
        due = due_items(load_records(writing, CASE), on=at.date())
        wanted = [_reminder(one, at) for one in due if one.is_overdue]
        new = insert_new(writing, wanted)
        for one in new:
            words = f"{one.record_id}: {one.what} ({one.for_user}, due {one.due_on})"
            writing.note(Entry(time_text(at), by, "queued", QUEUE, one.reminder_id, after=words))
        return Queued(tuple(new), len(waiting(writing)))


def _reminder(one: Due, at: datetime) -> Reminder:
    name = "\n".join((CASE.name, one.case_id, one.what, one.owner, one.due_on.isoformat()))
    return Reminder(
        reminder_id=sha256(name.encode()).hexdigest()[:20],
        record_class=CASE.name,
        record_id=one.case_id,
        what=f"{one.title}: {one.what}",
        for_user=one.owner,
        due_on=one.due_on.isoformat(),
        queued_at=time_text(at),
        sent_at=None,
    )


def list_reminders(store: FollowupStore) -> list[Reminder]:
    """Reminders that wait to be sent, the oldest first; for the job that delivers them."""
    with store.reading() as reading:
        return waiting(reading)


def mark_reminders_sent(
    store: FollowupStore, reminder_ids: Sequence[str], *, at: datetime, by: str
) -> int:
    """Returns: how many waited and are marked now."""
    with store.writing() as writing:
        sent = mark_sent(writing, reminder_ids, at=time_text(at))
        for one in sent:
            writing.note(Entry(time_text(at), by, "sent", QUEUE, one))
        return len(sent)
