"""What people recorded and what was issued before, of a network folder."""

from pathlib import Path

from qa.jobs.followup.archive import NetworkArchive
from qa.jobs.followup.pack_facts import RecordReader
from qa.model.published import Published
from qa.stores.followup.store import FollowupStore


class FactsReader(RecordReader):
    """As RecordReader, over the archive of a folder."""

    def __init__(self, store: FollowupStore, folder: Path, published: Published) -> None:
        super().__init__(store, NetworkArchive(folder), published)
