"""A folder beside its place in which a backup is unpacked, and what an interrupted restore left.

A new network folder comes by one rename. Where the folder is there already (with incoming/), its
parts are renamed one by one, network.toml last; a note beside them says which parts are ours, so
that the next restore can take them back.
"""

import fcntl
import json
import os
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from qa.stores.disk import flush

_PREFIX = ".restoring-"
_NOTE = ".moving.json"
_LAST = "network.toml"


@contextmanager
def place_to_unpack(beside: Path) -> Iterator[Path]:
    """An empty folder in `beside`, gone on leaving unless it was moved."""
    unpacked = Path(tempfile.mkdtemp(prefix=_PREFIX, dir=beside))
    handle = os.open(unpacked, os.O_RDONLY)
    try:
        # Held until the process ends, however it ends: tells ours from what was left behind.
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield unpacked
    finally:
        os.close(handle)
        shutil.rmtree(unpacked, ignore_errors=True)


def move_parts(unpacked: Path, into: Path, names: Sequence[str]) -> None:
    """Move files and folders into a folder that is there, in this order."""
    inodes = {name: (unpacked / name).stat().st_ino for name in names}
    note = unpacked / _NOTE
    note.write_text(json.dumps(inodes), encoding="utf-8")
    flush(note)
    flush(unpacked)
    for name in names:
        os.rename(unpacked / name, into / name)
    flush(into)


def clear_interrupted(beside: Path) -> None:
    """Take back what a restore that was killed had moved, and delete what it had unpacked.

    A restore that still runs is left alone, and so is one whose last part is in place.
    """
    for unpacked in sorted(beside.glob(_PREFIX + "*")):
        with suppress(OSError):
            handle = os.open(unpacked, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                _take_back(unpacked, beside)
                shutil.rmtree(unpacked)
            finally:
                os.close(handle)


def _take_back(unpacked: Path, beside: Path) -> None:
    try:
        inodes = json.loads((unpacked / _NOTE).read_text(encoding="utf-8"))
    except (FileNotFoundError, ValueError):
        return
    ours = [name for name, inode in inodes.items() if _inode(beside / name) == inode]
    if _LAST in ours:
        return
    for name in ours:
        path = beside / name
        shutil.rmtree(path) if path.is_dir() else path.unlink()


def _inode(path: Path) -> int | None:
    try:
        return path.lstat().st_ino
    except OSError:
        return None
