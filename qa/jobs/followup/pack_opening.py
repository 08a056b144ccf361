"""That somebody opened a pack, kept once for each person."""

from datetime import datetime
from functools import partial

from qa.followup import pack_records as records
from qa.followup.pack_records import PACK, PackRecord
from qa.jobs.followup.archive import IssuedPack
from qa.jobs.followup.opening import change_record
from qa.model.permissions import Actor
from qa.stores.followup.store import Writing


def note_opened(writing: Writing, pack: IssuedPack, actor: Actor, *, at: datetime) -> PackRecord:
    """A pack that was never delivered gets its record here.

    Raises: FollowupError PCK-030 when the record knows other bytes under this number.
    """
    change = partial(change_record, writing, PACK, pack.name, by=actor.user_id, at=at)
    change(
        partial(
            records.issue,
            site_id=pack.site_id,
            month=f"{pack.month:%Y-%m}",
            number=pack.number,
            sha256=pack.read_digest(),
        )
    )
    is_site = pack.site_id in actor.sites
    return change(partial(records.tell_opened, by=actor.user_id, is_site=is_site))
