"""Where pages get their snapshot from: the one in force, opened once and kept until a newer one."""

from collections.abc import Callable
from pathlib import Path
from threading import Lock

from qa.model.published import Published
from qa.stores.snapshots import Snapshot, current_snapshot_id, open_current

PublishedSource = Callable[[], Published]


class CurrentSnapshot:
    """Call it for the snapshot in force of a network folder.

    The snapshot stays open between calls; when another one is pointed to, that one is opened. The
    older stays open for pages that still read it and ends with them.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = Lock()
        self._open: Snapshot | None = None

    def __call__(self) -> Published:
        """Raises: SnapshotError where nothing is published or the file cannot be read."""
        wanted = current_snapshot_id(self._folder / "snapshots")
        with self._lock:
            if self._open is None or self._open.snapshot_id != wanted:
                self._open = open_current(self._folder)
            return self._open
