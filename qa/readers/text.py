"""Delimited text, plain or gzip → raw rows, within bounds."""

import re

import polars as pl

from qa.model.definitions import Profile
from qa.model.words import FileFormat
from qa.readers.bounds import MAX_LINE_BYTES, check_lines, check_size, check_table, unpack_gzip
from qa.readers.csv import read_csv

_LINE_END = re.compile(rb"\r\n?|\n")


def read_text(content: bytes, *, name: str, profile: Profile) -> pl.DataFrame:
    """Read one file's bytes as read_csv does, after looking at how much they ask for.

    Any delimiter, UTF-8 with or without byte-order mark, UTF-16, Windows-1252 and every other
    encoding that the profile states; gzip is unpacked.

    Args:     content: the whole file.   name: for messages.
    Returns:  as read_csv: ROW_NO, then one text column for each heading.
    Raises:   SourceFileError INT-001 to INT-009, INT-020 to INT-023, INT-025.
              ProfileError PRF-003.
    """
    check_size(len(content), name=name, file_format=FileFormat.CSV)
    content = unpack_gzip(content, name=name, file_format=FileFormat.CSV)
    check_lines(content, name=name)
    delimiter = profile.delimiter.encode()
    n_rows = max(content.count(b"\n"), content.count(b"\r"))
    top = content[: profile.header_row * MAX_LINE_BYTES]
    head = _LINE_END.split(top, profile.header_row)[: profile.header_row][-1]
    check_table(n_rows, head.count(delimiter) + 1, where=name)
    check_table(1, 1, n_cells=content.count(delimiter) + n_rows, where=name)
    return read_csv(content, name=name, profile=profile)
