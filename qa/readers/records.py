"""Where the records of a delimited text begin and end, and how many fields each has.

A parser of delimited text fills rows that are too short and cuts those that are too long, so
their length is counted here first. A megabyte at once, no loop over rows.
"""

import csv
from dataclasses import dataclass

import numpy as np

_QUOTE, _NEWLINE = 34, 10
_PIECE = 1 << 20


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
    counted = _find_ends(body, delimiter=ord(delimiter))
    if counted is None:
        return None
    ends, n_before = counted
    starts = np.concatenate(([0], ends[:-1] + 1))
    n_fields = np.diff(n_before, prepend=0) + 1
    is_blank = _find_blank(body, starts, ends, n_fields, delimiter)
    return Records(starts, ends, n_fields, is_blank)


def _find_ends(body: bytes, *, delimiter: int) -> tuple[np.ndarray, np.ndarray] | None:
    """Positions of the line ends, and how many separators stand before each; piece by piece."""
    data = np.frombuffer(body, dtype=np.uint8)
    has_quotes = b'"' in body
    ends, counts = [], []
    is_open, n_before = False, 0
    for at in range(0, data.size, _PIECE):
        piece = data[at : at + _PIECE]
        is_delimiter, is_newline = piece == delimiter, piece == _NEWLINE
        if has_quotes:
            is_outside, is_open = _outside_quotes(piece == _QUOTE, is_open=is_open)
            is_delimiter &= is_outside
            is_newline &= is_outside
        here, delimiters = np.flatnonzero(is_newline), np.flatnonzero(is_delimiter)
        ends.append(here + at)
        counts.append(np.searchsorted(delimiters, here) + n_before)
        n_before += delimiters.size
    return None if is_open else (np.concatenate(ends), np.concatenate(counts))


def _outside_quotes(is_quote: np.ndarray, *, is_open: bool) -> tuple[np.ndarray, bool]:
    """Where an even number of marks stands up to each byte, and whether one is open at the end.

    Eight bytes at once: tables tell the parity within a group and of the whole group.
    """
    packed = np.packbits(is_quote)
    parity = np.bitwise_xor.accumulate(_PARITY[packed]) ^ np.uint8(is_open)
    before = np.concatenate(([np.uint8(is_open)], parity[:-1]))
    is_inside = np.unpackbits(_WITHIN[packed] ^ (before * np.uint8(255)), count=is_quote.size)
    return is_inside == 0, bool(parity[-1])


def _parities() -> tuple[np.ndarray, np.ndarray]:
    """For each group of eight marks: its parity, and the parities up to each of its bits."""
    bits = np.unpackbits(np.arange(256, dtype=np.uint8)[:, None], axis=1)
    within = np.bitwise_xor.accumulate(bits, axis=1)
    return within[:, -1].copy(), np.packbits(within, axis=1)[:, 0].copy()


_PARITY, _WITHIN = _parities()


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
