"""A source file's bytes: whole, unchanged while they are read, and from an ordinary file.

Nothing here follows a link, waits for a pipe or reads a device, whatever a file is called.
"""

import errno
import hashlib
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from qa.model.errors import SourceFileError
from qa.readers.bounds import check_size

CHANGED = "INT-040"
MAX_BYTES = 1024**3
"""No format takes more; a reader has its own, lower limit."""

_FLAGS = os.O_RDONLY | os.O_NONBLOCK | os.O_NOFOLLOW | os.O_CLOEXEC


def hash_file(path: Path, *, name: str) -> str:
    """SHA-256 of a file, in hexadecimal digits.

    Args:   name: what the file is called in messages.
    Raises: SourceFileError INT-012, INT-020, INT-041, INT-042.
    """
    with _opened(path, name=name) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def read_whole(path: Path, *, name: str, file_id: str, file_format: str) -> bytes:
    """All bytes of a file, which are those that were hashed.

    Args:   file_id: SHA-256 of the file, from hash_file.
            file_format: of the profile; a file that is too large for it is not read at all.
    Raises: SourceFileError as hash_file does, and INT-040 when the file has changed since.
    """
    with _opened(path, name=name) as file:
        n_bytes = os.fstat(file.fileno()).st_size
        check_size(n_bytes, name=name, file_format=file_format)
        content = file.read(n_bytes + 1)
    if len(content) != n_bytes or hashlib.sha256(content).hexdigest() != file_id:
        raise SourceFileError(
            "the file changed while it was read",
            where=name,
            expected="a file that has arrived whole",
            todo="Wait until its transfer is done, then run intake again",
            code=CHANGED,
        )
    return content


@contextmanager
def _opened(path: Path, *, name: str) -> Iterator[Any]:
    try:
        with open(path, "rb", opener=lambda at, _: os.open(at, _FLAGS)) as file:
            _require_ordinary(os.fstat(file.fileno()), name=name)
            yield file
    except (OSError, ValueError) as problem:
        raise _not_opened(name, problem) from None


def _require_ordinary(facts: os.stat_result, *, name: str) -> None:
    if not stat.S_ISREG(facts.st_mode):
        is_folder = stat.S_ISDIR(facts.st_mode)
        raise _no_file(name, "a folder" if is_folder else "a pipe, socket or device")
    if facts.st_size > MAX_BYTES:
        raise SourceFileError(
            f"the file has {facts.st_size:,} bytes",
            where=name,
            expected=f"at most {MAX_BYTES:,} bytes in one file",
            todo="Split the export, for example by month",
            code="INT-020",
        )


def _no_file(name: str, kind: str) -> SourceFileError:
    return SourceFileError(
        f"this is {kind}, no file",
        where=name,
        expected="an ordinary file",
        todo="Put the file itself into its site's folder under incoming/",
        code="INT-042",
    )


def _not_opened(name: str, problem: OSError | ValueError) -> SourceFileError:
    number = problem.errno if isinstance(problem, OSError) else None
    if number == errno.ELOOP:
        return SourceFileError(
            "this is a link, no file",
            where=name,
            expected="an ordinary file",
            todo="Put the file itself there; links are not followed",
            code="INT-041",
        )
    if number == errno.EISDIR:
        return _no_file(name, "a folder")
    reason = os.strerror(number) if number else "its name holds a NUL character"
    return SourceFileError(
        f"the file cannot be opened ({reason})",
        where=name,
        todo="Check its name, and that this program may read it",
        code="INT-012",
    )
