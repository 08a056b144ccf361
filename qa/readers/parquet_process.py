"""Decode Parquet files in a process of their own, so that a damaged one takes nothing down.

Both general readers of Parquet end their whole process on some damaged files (found by throwing
spoilt files at them: a run length in a page of true and false asks for 2 exabytes). Intake would
stop at the same file every time; so it is read where that does no harm. The process is kept for the
next file. When it dies over a file that was not its first, an earlier file may be to blame, so the
file gets a second try in a fresh process; only a file over which that one dies too is refused.
"""

import atexit
import io
import json
import os
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from threading import Lock, Timer

import polars as pl

from qa.readers.bounds import character_limit, is_damaged, too_long_a_text
from qa.readers.parquet_child import DONE, LENGTH, TOO_MANY

_CHILD = Path(__file__).with_name("parquet_child.py")
_SECONDS = 300
_FILES_EACH, _LARGE = 1000, 32 * 1024**2
"""A process that has decoded so many files, or one so large, is not kept: what its allocator
holds back is given back to the system."""


class Died(Exception):
    """The process ended, or was ended, before it had answered."""


class Decoder:
    """A child process that decodes one file after the other."""

    def __init__(self) -> None:
        self.n_files = 0
        self.owner = os.getpid()
        self._process = subprocess.Popen(
            [sys.executable, "-P", str(_CHILD)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=os.environ | {"POLARS_MAX_THREADS": "1"},
        )

    @property
    def pid(self) -> int:
        return self._process.pid

    def decode(self, content: bytes, asked: bytes) -> tuple[bytes, bytes]:
        """The answer and the frame as Arrow IPC.   Raises: Died."""
        self.n_files += 1
        to_child, from_child = self._process.stdin, self._process.stdout
        assert to_child is not None
        assert from_child is not None
        watch = Timer(_SECONDS, self._process.kill)
        watch.start()
        try:
            for part in (asked, content):
                to_child.write(len(part).to_bytes(LENGTH, "little"))
                to_child.write(part)
            to_child.flush()
            head = from_child.read(1 + LENGTH)
            frame = from_child.read(int.from_bytes(head[1:], "little"))
        except OSError:
            raise Died from None
        finally:
            watch.cancel()
        if len(head) != 1 + LENGTH or len(frame) != int.from_bytes(head[1:], "little"):
            raise Died
        return head[:1], frame

    def close(self) -> None:
        """End the process, whatever it does."""
        self._process.kill()
        for pipe in (self._process.stdin, self._process.stdout):
            with suppress(OSError):
                if pipe is not None:
                    pipe.close()
        self._process.wait()


class _Kept:
    """The process that waits for the next file; one for the whole program."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._decoder: Decoder | None = None

    def decode(self, content: bytes, asked: bytes) -> tuple[bytes, bytes]:
        """Raises: Died."""
        with self._lock:
            is_first = self._start().n_files == 0
            try:
                return self._ask(content, asked)
            except Died:
                if is_first:
                    raise
            self._start()
            return self._ask(content, asked)

    def _start(self) -> Decoder:
        if self._decoder is not None and self._decoder.owner != os.getpid():
            self._decoder = None  # The one of the program that this one was forked from.
        if self._decoder is None:
            self._decoder = Decoder()
        return self._decoder

    def _ask(self, content: bytes, asked: bytes) -> tuple[bytes, bytes]:
        decoder = self._decoder
        assert decoder is not None
        try:
            answer = decoder.decode(content, asked)
        except BaseException:
            # Also after Ctrl-C: half an answer may be under way.
            self._end()
            raise
        if decoder.n_files >= _FILES_EACH or len(content) + len(answer[1]) > _LARGE:
            self._end()
        return answer

    def _end(self) -> None:
        decoder, self._decoder = self._decoder, None
        if decoder is not None and decoder.owner == os.getpid():
            decoder.close()

    def close(self) -> None:
        with self._lock:
            self._end()

    @property
    def pid(self) -> int | None:
        return self._decoder.pid if self._decoder else None


KEPT = _Kept()
atexit.register(KEPT.close)


def decode_parquet(content: bytes, columns: list[str], *, name: str) -> pl.DataFrame:
    """The columns as they are typed in the file. The first file of a program waits for the process.

    Raises: SourceFileError INT-023 (far more text than bytes), INT-025 (cannot be decoded).
    """
    limit = character_limit(len(content))
    asked = json.dumps({"columns": columns, "max_characters": limit}).encode()
    try:
        answer, frame = KEPT.decode(content, asked)
        if answer == TOO_MANY:
            raise too_long_a_text(limit, where=name)
        if answer != DONE:
            raise is_damaged(name)
        return pl.read_ipc(io.BytesIO(frame))
    except (Died, pl.exceptions.PolarsError):
        raise is_damaged(name) from None
