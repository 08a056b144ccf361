"""Where in the network folder a forgotten person still stands, for whoever has to mend it.

Files are only read. What is compressed (workbooks, Parquet, packed texts, backups) cannot be
searched for a number; exports of it are known by their rows, backups are named by what they are.
"""

import hashlib
import mmap
import os
import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path

from qa.jobs.incoming_files import find_incoming
from qa.stores.key import KEY_FILE
from qa.stores.settings import NetworkFolder

_PACKED = (b"\x28\xb5\x2f\xfd", b"\x1f\x8b", b"PK\x03\x04", b"PAR1")
"""First bytes of zstd (RFC 8878), gzip (RFC 1952), ZIP (APPNOTE 4.3.7) and Parquet files."""
_BACKUP = _PACKED[0]
_BEFORE, _AFTER = rb"(?<![0-9A-Za-z])", rb"(?![0-9A-Za-z])"


@dataclass(frozen=True)
class Traces:
    """Files that still hold the person, or may, by their path from the network folder on.

    exports: in incoming/, because their rows were the person's or the number stands in them.
    backups: archives that were made before.
    others: any other file that holds the number or the person's keyed hash.
    unsearched: exports that are packed and that no row in the warehouse came from.
    """

    exports: tuple[str, ...] = ()
    backups: tuple[str, ...] = ()
    others: tuple[str, ...] = ()
    unsearched: tuple[str, ...] = ()
    found_ids: frozenset[str] = frozenset()


def find_traces(
    root: NetworkFolder,
    *,
    number: str,
    patient_key: str,
    file_ids: Collection[str],
    read_ids: Collection[str],
) -> Traces:
    """Look through the network folder; the warehouse and its snapshots are not opened.

    Args:
        number: the patient's number, as exports hold it.
        patient_key: the keyed hash of it.
        file_ids: SHA-256 of files that rows of the person came from.
        read_ids: SHA-256 of every file that was read.
    Weak when: a profile joins the number from several columns: it stands in no file as a whole.
    """
    exports, unsearched, found = [], [], set()
    for path in find_incoming(root.incoming):
        seen = _look(path, [number])
        if seen is None:
            continue
        file_id, is_hit, first = seen
        if file_id in file_ids or is_hit:
            exports.append(_place(path, root))
            found.add(file_id)
        elif first.startswith(_PACKED) and file_id not in read_ids:
            unsearched.append(_place(path, root))
    backups, others = [], []
    for path in _beside(root):
        seen = _look(path, [number, patient_key])
        if seen is not None and seen[2].startswith(_BACKUP):
            backups.append(_place(path, root))
        elif seen is not None and seen[1]:
            others.append(_place(path, root))
    return Traces(
        tuple(exports), tuple(backups), tuple(others), tuple(unsearched), frozenset(found)
    )


def _beside(root: NetworkFolder) -> Iterator[Path]:
    """Files of the folder that neither sites sent nor this program keeps the person out of."""
    own = (root.warehouse.name, KEY_FILE)
    for folder, folders, names in os.walk(root.root):
        top = Path(folder) == root.root
        folders[:] = sorted(one for one in folders if not (top and one == root.incoming.name))
        is_snapshots = Path(folder) == root.snapshots
        for name in sorted(names):
            if not (top and name.startswith(own)) and not (is_snapshots and _is_snapshot(name)):
                yield Path(folder, name)


def _is_snapshot(name: str) -> bool:
    return name.endswith(".duckdb")


def _look(path: Path, words: list[str]) -> tuple[str, bool, bytes] | None:
    """SHA-256, whether one of the words stands in it, first bytes; None: no ordinary file."""
    try:
        handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_NOFOLLOW | os.O_CLOEXEC)
        with os.fdopen(handle, "rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
            if not os.fstat(file.fileno()).st_size:
                return digest, False, b""
            with mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as content:
                return digest, any(_stands(word, content) for word in words), content[:4]
    except (OSError, ValueError):
        return None


def _stands(word: str, content: mmap.mmap) -> bool:
    return any(
        re.search(_BEFORE + re.escape(word.encode(encoding)) + _AFTER, content)
        for encoding in ("utf-8", "utf-16-le", "utf-16-be")
    )


def _place(path: Path, root: NetworkFolder) -> str:
    name = path.relative_to(root.root).as_posix()
    return "".join(sign if sign.isprintable() else "?" for sign in name)
