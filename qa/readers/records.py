"""Where the records of a delimited text begin and end, and how many fields each has.

A parser of delimited text fills rows that are too short and cuts those that are too long, so
their length is counted here first. Whole arrays of bytes at once, no loop over rows.
"""

import csv
from dataclasses import dataclass

import numpy as np

_QUOTE, _NEWLINE = 34, 10


@dataclass(frozen=True)
class Records:
    """Records of a text, the row of headings first.

    starts, ends: positions of the first byte and of the line end; int64.
    n_fields: fields of each record.
    is_blank: every field is empty or a few blanks.
    """

    starts: np.ndarray
    ends: np.ndarray
    n_fields: np.ndarray
    is_blank: np.ndarray

    def only(self, body: bytes, rows: np.ndarray) -> bytes:
        """The text of these records, in order, each with its line end."""
        first = int(rows[0])
        if rows.size == self.starts.size - first:
            return body[int(self.starts[first]) :]
        return b"".join(
            body[start : end + 1]
            for start, end in zip(self.starts[rows].tolist(), self.ends[rows].tolist(), strict=True)
        )


def find_records(body: bytes, *, delimiter: str) -> Records | None:
    """Split a text into records; a line end or separator inside quotation marks counts as text.

    Args:     body: UTF-8 with plain line ends, not empty.   delimiter: one ASCII character.
    Returns:  the records; None when a quotation mark is left open.
    """
    if not body.endswith(b"\n"):
        body += b"\n"
    data = np.frombuffer(body, dtype=np.uint8)
    is_delimiter, is_newline = data == ord(delimiter), data == _NEWLINE
    is_quote = data == _QUOTE
    if b'"' in body:
        # Parity of the marks so far; overflow of the byte keeps the parity.
        is_inside = (np.cumsum(is_quote, dtype=np.uint8) & 1).astype(bool)
        if is_inside[-1]:
            return None
        is_delimiter &= ~is_inside
        is_newline &= ~is_inside
    ends = np.flatnonzero(is_newline)
    starts = np.concatenate(([0], ends[:-1] + 1))
    n_fields = np.diff(np.searchsorted(np.flatnonzero(is_delimiter), ends), prepend=0) + 1
    is_blank = _find_blank(body, starts, ends, n_fields, delimiter)
    return Records(starts, ends, n_fields, is_blank)


def _find_blank(
    body: bytes, starts: np.ndarray, ends: np.ndarray, n_fields: np.ndarray, delimiter: str
) -> np.ndarray:
    """Only records with at most two characters a field are looked at one by one."""
    is_blank = np.zeros(starts.size, dtype=bool)
    nothing = delimiter.encode() + b' \t"'
    for number in np.flatnonzero(ends - starts <= 3 * n_fields).tolist():
        record = body[starts[number] : ends[number]]
        if not record.strip(nothing):
            fields = next(csv.reader([record.decode("utf-8")], delimiter=delimiter), [])
            is_blank[number] = not any(field.strip() for field in fields)
    return is_blank
