"""Decodes a Parquet file: a program of its own, started by parquet_process.py.

Input: 8 bytes length, JSON (columns, max_characters), the file. Output: Arrow IPC. It imports
nothing of ours, since it is started as a file.
"""

import io
import json
import sys

import polars as pl

ADDRESS_SPACE = 8 * 1024**3
TOO_MANY = 3
"""Exit code: the texts, written out, are longer than max_characters."""


def main() -> int:
    limit_memory()
    content = sys.stdin.buffer.read()
    start = 8 + int.from_bytes(content[:8], "little")
    asked = json.loads(content[8:start])
    frame = pl.read_parquet(
        io.BytesIO(content[start:]),
        columns=asked["columns"],
        parallel="none",
        use_statistics=False,
        glob=False,
    )
    texts = [column for column in frame if column.dtype == pl.String]
    n_characters = sum(int(one.str.len_bytes().cast(pl.Int64).sum() or 0) for one in texts)
    if n_characters > asked["max_characters"]:
        return TOO_MANY
    frame.write_ipc(sys.stdout.buffer)
    return 0


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
