"""Decode a Parquet file in a process of its own, so that a damaged one takes nothing down.

Both general readers of Parquet end their whole process on some damaged files (found by throwing
spoilt files at them: a run length in a page of true and false asks for 2 exabytes). Intake would
stop at the same file every time; so it is read where that does no harm.
"""

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import polars as pl

from qa.readers.bounds import character_limit, is_damaged, too_long_a_text
from qa.readers.parquet_child import TOO_MANY

_CHILD = Path(__file__).with_name("parquet_child.py")
_SECONDS = 300


def decode_parquet(content: bytes, columns: list[str], *, name: str) -> pl.DataFrame:
    """The columns as they are typed in the file. Costs about 0.2 s for the process.

    Raises: SourceFileError INT-023 (far more text than bytes), INT-025 (cannot be decoded).
    """
    limit = character_limit(len(content))
    asked = json.dumps({"columns": columns, "max_characters": limit}).encode()
    try:
        done = subprocess.run(
            [sys.executable, "-P", str(_CHILD)],
            input=len(asked).to_bytes(8, "little") + asked + content,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            timeout=_SECONDS,
            env=os.environ | {"POLARS_MAX_THREADS": "1"},
            check=False,
        )
        if done.returncode == TOO_MANY:
            raise too_long_a_text(limit, where=name)
        if done.returncode:
            raise is_damaged(name)
        return pl.read_ipc(io.BytesIO(done.stdout))
    except (subprocess.SubprocessError, pl.exceptions.PolarsError):
        raise is_damaged(name) from None
