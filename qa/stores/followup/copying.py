"""A whole copy of the follow-up file while others write, for backups; and what a copy holds.

Only the file: decisions in PostgreSQL are backed up by its own tools (pg_dump).
"""

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from qa.stores.disk import is_disk_full

_COUNTED = ("events", "trail")


@contextmanager
def copied(file: Path) -> Iterator[Path]:
    """A copy as of one moment, beside the file, for as long as the block lasts.

    Raises: OSError when it cannot be made.
    """
    with TemporaryDirectory(prefix=".followup-copy-", dir=file.parent) as place:
        copy = Path(place) / file.name
        try:
            with closing(sqlite3.connect(file)) as source, closing(sqlite3.connect(copy)) as target:
                source.backup(target)
        except sqlite3.Error as problem:
            number = errno.ENOSPC if is_disk_full(problem) or "is full" in str(problem) else 0
            raise OSError(number or errno.EIO, f"{file.name}: {problem}") from None
        yield copy


def count_copy(file: Path) -> dict[str, int]:
    """Rows of events and trail. Raises: OSError when it is no whole follow-up file."""
    try:
        with closing(sqlite3.connect(f"file:{file}?mode=ro&immutable=1", uri=True)) as con:
            return {
                f"rows of {name}": con.execute(f"SELECT count(*) FROM {name}").fetchone()[0]
                for name in _COUNTED
            }
    except sqlite3.Error as problem:
        raise OSError(errno.EIO, f"{file.name}: {problem}") from None
