"""Open a network's follow-up store, and change records in it."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import TypeVar

from qa.followup.records import RecordClass, decide_changes
from qa.followup.trail import seal_entry
from qa.model.definitions import Network
from qa.model.errors import FollowupError
from qa.model.permissions import Actor, Role
from qa.model.record import Event, NewEvent
from qa.stores.followup.engine import followup_url
from qa.stores.followup.store import FollowupStore, Reading, Writing, open_followup
from qa.stores.settings import load_network

S = TypeVar("S")


def open_record(folder: Path, *, environ: Mapping[str, str]) -> FollowupStore:
    """Open the store of a network folder; made or brought forward where needed.

    Raises: NetworkFolderError, FollowupError FUP-001 to FUP-006.
    """
    network = load_network(folder)
    return open_followup(
        folder, setting=network.settings.followup_url, environ=environ, seal=seal_entry
    )


def open_network(folder: Path) -> Network:
    return load_network(folder)


def is_in_database(folder: Path, *, environ: Mapping[str, str]) -> bool:
    """The store lies in PostgreSQL and not in the network's folder."""
    setting = load_network(folder).settings.followup_url
    return followup_url(folder, setting=setting, environ=environ).drivername != "sqlite"


def command_actor(name: str) -> Actor:
    """Who runs a command: whoever may read and write the folder can do anything in it.

    So commands act with every role; the trail says by which name of the machine.
    """
    return Actor(name, name, tuple(Role))


def change_record(
    writing: Writing,
    kind: RecordClass[S],
    record_id: str,
    decide: Callable[[S | None], Sequence[NewEvent]],
    *,
    by: str,
    at: datetime,
    seen_no: int | None = None,
) -> S:
    """Decide on one record inside a transaction; each event is kept with its line of the trail.

    Args:
        decide: the state (None: there is no such record) → events; raises what does not fit.
        by, at: user id, and now in UTC.
        seen_no: number of the last event that the person had seen; None: does not matter.
    Returns: the state afterwards.
    Raises: FollowupError FUP-010 when the record was changed since, with what changed.
    """
    events = writing.events(kind.name, record_id)
    changes = decide_changes(kind, record_id, events, decide, by=by, at=at, seen_no=seen_no)
    for change in changes:
        writing.append(
            change.event, action=change.event.kind, before=change.before, after=change.after
        )
    return kind.replay([*events, *(change.event for change in changes)])


def load_record(reading: Reading, kind: RecordClass[S], record_id: str) -> S:
    """Raises: FollowupError FUP-014 when there is no such record."""
    events = reading.events(kind.name, record_id)
    if not events:
        raise no_such_record(kind, record_id)
    return kind.replay(events)


def load_records(reading: Reading, kind: RecordClass[S]) -> list[S]:
    """Every record of a class, in the order in which they were begun."""
    return replay_all(kind, reading.events(kind.name))


def replay_all(kind: RecordClass[S], events: Sequence[Event]) -> list[S]:
    """Every record that some events of its class begin; they keep their order."""
    by_record: dict[str, list[Event]] = {}
    for event in events:
        by_record.setdefault(event.record_id, []).append(event)
    return [kind.replay(events) for events in by_record.values()]


def no_such_record(kind: RecordClass[S], record_id: str) -> FollowupError:
    """Also for a record that this person may not see: an id tells nothing."""
    return FollowupError(
        f"there is no {kind.title.removeprefix('the ')} '{record_id[:60]}' for this account",
        todo="See the list for the ids; nothing was changed",
        code="FUP-014",
    )
