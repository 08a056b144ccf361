"""Many small delimited texts with the same headings → one frame, each read as if it were alone.

A clinic's months are small files of one shape: parsed one by one, most of the time goes into
beginning and ending. Only what is plainly in order is read here; a text with anything odd is left
out, and reading it alone says what is wrong with it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from qa.model.definitions import Profile
from qa.model.errors import UserError
from qa.readers.bounds import MAX_COLUMNS, MIB, is_gzip
from qa.readers.csv import body_of, name_columns, parse_rows, read_headings
from qa.readers.records import find_records

MAX_BYTES = MIB
"""Larger texts are read alone."""


@dataclass(frozen=True)
class Together:
    """Rows of several texts, one text after the other.

    frame: the columns of read_csv; ROW_NO counts within each text.
    places, n_rows: which of the texts given, and how many rows each has.
    """

    frame: pl.DataFrame
    places: list[int]
    n_rows: list[int]


def read_together(contents: Sequence[bytes], *, profile: Profile) -> list[Together]:
    """Read texts as read_text does, those with equal headings together.

    Returns: frames of all texts in which nothing is odd and that are not the only one of their
        headings; the others are in none of them.
    """
    groups: dict[bytes, list[tuple[int, bytes]]] = {}
    for place, content in enumerate(contents):
        parts = _head_and_rows(content, profile)
        if parts is not None:
            groups.setdefault(parts[0], []).append((place, parts[1]))
    read = (_read_group(head, members, profile) for head, members in groups.items())
    return [one for one in read if one is not None]


def _head_and_rows(content: bytes, profile: Profile) -> tuple[bytes, bytes] | None:
    if len(content) > MAX_BYTES or is_gzip(content):
        return None
    try:
        body = body_of(content, name="", profile=profile)
    except UserError:
        return None
    head, _, rows = body.partition(b"\n")
    if not rows or b'"' in head or head.count(profile.delimiter.encode()) >= MAX_COLUMNS:
        return None
    return head, rows if rows.endswith(b"\n") else rows + b"\n"


def _read_group(
    head: bytes, members: Sequence[tuple[int, bytes]], profile: Profile
) -> Together | None:
    if len(members) < 2:
        return None
    body = b"\n".join((head, b"".join(rows for _, rows in members)))
    records = find_records(body, delimiter=profile.delimiter)
    if records is None:
        return None
    file_ends = len(head) + np.cumsum([len(rows) for _, rows in members])
    last = np.searchsorted(records.ends, file_ends)
    if last[-1] >= records.ends.size or np.any(records.ends[last] != file_ends):
        # A quotation mark is open where a file ends.
        return None
    numbers = np.arange(1, records.ends.size)
    file_of_row = np.searchsorted(last, numbers)
    try:
        headings = read_headings(body, records, name="", profile=profile)
        is_kept = ~records.is_blank[1:]
        is_ragged = is_kept & (records.n_fields[1:] != len(headings))
        n_rows = np.bincount(file_of_row[is_kept], minlength=len(members))
        is_odd = (np.bincount(file_of_row[is_ragged], minlength=len(members)) > 0) | (n_rows == 0)
        if is_odd.any():
            fine = [one for one, odd in zip(members, is_odd.tolist(), strict=True) if not odd]
            return _read_group(head, fine, profile)
        if not all(headings):
            return None
        rows = numbers[is_kept]
        frame = parse_rows(body, records, rows, n_columns=len(headings), name="", profile=profile)
        before = np.concatenate(([0], last[:-1]))
        row_nos = rows - before[file_of_row[is_kept]]
        frame = name_columns(frame, headings, row_nos, name="", profile=profile)
    except UserError:
        return None
    return Together(frame, [place for place, _ in members], n_rows.tolist())
