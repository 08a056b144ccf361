"""Where pages get their snapshot from: the one in force, opened once and kept until a newer one."""

from collections.abc import Callable
from pathlib import Path
from threading import Lock

from qa.model.published import Published
from qa.stores.snapshots import Snapshot, current_file, open_current

PublishedSource = Callable[[], Published]


class CurrentSnapshot:
    """Call it for the snapshot in force of a network folder.

    The snapshot stays open between calls; when another one is pointed to, or another file was put
    in its place, that one is opened. The older stays open for pages that still read it and ends
    with them.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = Lock()
        self._open: Snapshot | None = None
        self._file: tuple[str, int, int] | None = None

    def __call__(self) -> Published:
        """Raises: SnapshotError where nothing is published or the file cannot be read."""
        with self._lock:
            wanted = current_file(self._folder / "snapshots")
            if self._open is None or self._file != wanted:
                self._open = open_current(self._folder)
                self._file = wanted
            return self._open
