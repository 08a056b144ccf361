"""One run at a time: a lock that the system lets go of when its process ends, however it ends."""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from qa.model.errors import MonthIncomplete

LOCK = ".month.lock"


@contextmanager
def only_run(folder: Path) -> Iterator[None]:
    """Raises: MonthIncomplete MON-001 when another run has the folder."""
    handle = os.open(folder / LOCK, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise MonthIncomplete(
                "another run of 'elastoqa month' is under way here",
                where=str(folder),
                todo="Wait for it to end; nothing was changed",
                code="MON-001",
            ) from None
        yield
    finally:
        os.close(handle)
