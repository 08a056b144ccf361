"""One file's bytes → raw rows, by the format that the profile states."""

from collections.abc import Callable

import polars as pl

from qa.model.definitions import Profile
from qa.model.errors import ProfileError
from qa.model.words import FileFormat
from qa.readers.dicom import read_dicom
from qa.readers.fhir import read_fhir
from qa.readers.jsonl import read_jsonl
from qa.readers.parquet import read_parquet
from qa.readers.text import read_text
from qa.readers.workbook import read_workbook

READERS: dict[str, Callable[..., pl.DataFrame]] = {
    FileFormat.CSV: read_text,
    FileFormat.XLSX: read_workbook,
    FileFormat.PARQUET: read_parquet,
    FileFormat.JSONL: read_jsonl,
    FileFormat.FHIR: read_fhir,
    FileFormat.DICOM: read_dicom,
}
"""One reader for each format; each takes (content, *, name, profile)."""


def read_file(content: bytes, *, name: str, profile: Profile) -> pl.DataFrame:
    """Read a file with the reader of its profile's format.

    Args:     content: the whole file; ask check_size before reading a large one.
              name: for messages.
    Returns:  ROW_NO (Int32; what a row is called in messages) and text columns; an empty cell is
              null.
    Raises:   SourceFileError when the file cannot be read as a whole (qa/model/file_problems.py).
              ProfileError PRF-003 when the format is unknown.
    """
    reader = READERS.get(profile.format)
    if reader is None:
        raise ProfileError(
            f"the format '{profile.format}' is unknown",
            where=f"profile {profile.full_id}, [file] format",
            expected=f"one of {', '.join(READERS)}",
            code="PRF-003",
        )
    return reader(content, name=name, profile=profile)
