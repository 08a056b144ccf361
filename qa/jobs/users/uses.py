"""What people looked at and took away: lines of the trail that stand for no change."""

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from qa.jobs.followup.opening import command_actor, open_record
from qa.model.permissions import Actor
from qa.model.record import Entry, time_text
from qa.stores.followup.store import FollowupStore

USE = "use"
"""Class of lines about views, exports and packs."""
VIEWED, EXPORTED, MADE_PACKS = "viewed named operators", "exported", "made packs"
FETCHED_PACK = "fetched a pack"


def note_use(
    store: FollowupStore, actor: Actor, action: str, what: str, *, at: datetime, snapshot_id: str
) -> None:
    """what: as somebody typed it into an address; what cannot be printed becomes "?".

    Raises: FollowupError FUP-004 to FUP-006 when it cannot be written: then nothing is shown.
    """
    shown = "".join(one if one.isprintable() else "?" for one in what[:200])
    with store.writing() as writing:
        writing.note(
            Entry(time_text(at), actor.user_id, action, USE, shown, after=f"From {snapshot_id}")
        )


def note_command_use(
    folder: Path, environ: Mapping[str, str], action: str, what: str, *, by: str, at: datetime
) -> None:
    """The same for a command. by: name of whoever runs it, on this machine."""
    store = open_record(folder, environ=environ)
    try:
        note_use(store, command_actor(by), action, what, at=at, snapshot_id="a command")
    finally:
        store.close()
