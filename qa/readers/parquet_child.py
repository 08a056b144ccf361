"""Decodes Parquet files: a program of its own, started by parquet_process.py.

Asked on standard input, file by file: 8 bytes length, JSON (columns, max_characters), 8 bytes
length, the file. Answers on standard output: 1 byte (DONE, TOO_MANY, DAMAGED), 8 bytes length,
Arrow IPC. It ends with its input, or when nothing is asked for a while. It imports nothing of ours,
since it is started as a file.
"""

import io
import json
import os
import select
import sys
from typing import BinaryIO

import polars as pl

ADDRESS_SPACE = 8 * 1024**3
IDLE_SECONDS = 30.0
LENGTH = 8
DONE, TOO_MANY, DAMAGED = b"D", b"T", b"X"
"""Answers. TOO_MANY: the texts, written out, are longer than max_characters."""


def main() -> int:
    limit_memory()
    asked, answers = sys.stdin.buffer, sys.stdout.buffer
    while is_asked() and (head := asked.read(LENGTH)):
        request = json.loads(asked.read(int.from_bytes(head, "little")))
        content = asked.read(int.from_bytes(asked.read(LENGTH), "little"))
        try:
            answer, frame = decode(content, request)
        except (Exception, pl.exceptions.PanicException):  # Whatever a damaged file makes of it.
            answer, frame = DAMAGED, b""
        send(answers, answer, frame)
    return 0


def is_asked() -> bool:
    """False when nothing was asked for a while; on Windows, waiting is left to the read."""
    return os.name != "posix" or bool(select.select([0], [], [], IDLE_SECONDS)[0])


def decode(content: bytes, request: dict) -> tuple[bytes, bytes]:
    frame = pl.read_parquet(
        io.BytesIO(content),
        columns=request["columns"],
        parallel="none",
        use_statistics=False,
        glob=False,
    )
    texts = [column for column in frame if column.dtype == pl.String]
    n_characters = sum(int(one.str.len_bytes().cast(pl.Int64).sum() or 0) for one in texts)
    if n_characters > request["max_characters"]:
        return TOO_MANY, b""
    target = io.BytesIO()
    frame.write_ipc(target)
    return DONE, target.getvalue()


def send(answers: BinaryIO, answer: bytes, content: bytes) -> None:
    answers.write(answer + len(content).to_bytes(LENGTH, "little"))
    answers.write(content)
    answers.flush()


def limit_memory() -> None:
    """Where the system can: what asks for more ends here instead of filling the machine."""
    try:
        import resource
    except ImportError:
        return
    _, most = resource.getrlimit(resource.RLIMIT_AS)
    limit = ADDRESS_SPACE if most == resource.RLIM_INFINITY else min(ADDRESS_SPACE, most)
    resource.setrlimit(resource.RLIMIT_AS, (limit, most))


if __name__ == "__main__":
    sys.exit(main())
