"""What people looked at and took away: lines of the trail that stand for no change."""

from datetime import datetime

from qa.model.permissions import Actor
from qa.model.record import Entry, time_text
from qa.stores.followup.store import FollowupStore

USE = "use"
"""Class of lines about views, exports and packs."""
VIEWED, EXPORTED, TOOK_PACK = "viewed named operators", "exported", "downloaded a pack"


def note_use(
    store: FollowupStore, actor: Actor, action: str, what: str, *, at: datetime, snapshot_id: str
) -> None:
    """Raises: FollowupError FUP-004 to FUP-006 when it cannot be written: then nothing is shown."""
    with store.writing() as writing:
        writing.note(
            Entry(
                time_text(at), actor.user_id, action, USE, what[:200], after=f"From {snapshot_id}"
            )
        )
