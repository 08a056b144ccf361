"""What disks do: they fill up, and they lose what was not flushed.

A full disk is told from damage by its error number, or by the words that DuckDB passes on.
"""

import errno
import os
from pathlib import Path

from qa.model.errors import UserError

_NUMBERS = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
_WORDS = tuple(os.strerror(number) for number in _NUMBERS)


def is_disk_full(problem: BaseException) -> bool:
    """No space left, quota exceeded, or file larger than the system lets it grow."""
    if isinstance(problem, OSError):
        return problem.errno in _NUMBERS
    return any(words in str(problem) for words in _WORDS)


def disk_full(error: type[UserError], *, where: str, kept: str, code: str) -> UserError:
    """The error to raise; `kept`: what is still whole, in one clause."""
    return error(
        "the disk is full",
        where=where,
        expected="room to write",
        todo=f"Make room and run the command again; {kept}",
        code=code,
    )


def put_in_place(unfinished: Path, final: Path) -> None:
    """Rename a finished file over its final name: whole there or not there, power cut or not."""
    flush(unfinished)
    os.replace(unfinished, final)
    flush(final.parent)


def flush(path: Path) -> None:
    """Have a file or folder written to the disk itself."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
