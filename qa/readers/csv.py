"""Delimited text → raw rows: every field as text, nothing judged but the file's own shape."""

import codecs
import csv
import io
from collections import Counter

import numpy as np
import polars as pl

from qa.model.definitions import Profile
from qa.model.errors import ProfileError, SourceFileError
from qa.model.file_problems import ROW_NO
from qa.readers.bounds import refuse_empty
from qa.readers.records import Records, find_records

_FORMATS_BY_MAGIC = (
    (b"PK\x03\x04", "a workbook or zip archive"),
    (b"\xd0\xcf\x11\xe0", "an old workbook"),
    (b"%PDF", "a PDF"),
    (b"\x1f\x8b", "a compressed file"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"SQLite format 3", "a database"),
)
_CONTROL = bytes(range(9)) + bytes(range(14, 32))
_SAMPLE = 65_536
_BINARY_SHARE = 0.05
_SHOWN_ROWS = 5


def read_csv(content: bytes, *, name: str, profile: Profile) -> pl.DataFrame:
    """Read one file's bytes as the profile says: delimiter, encoding, row of headings.

    Args:     content: the whole file.   name: for messages.
    Returns:  ROW_NO, then one text column for each heading, in the file's order. Empty rows are
              left out but counted in ROW_NO; an empty field is null.
    Raises:   SourceFileError INT-001 to INT-009 (qa/model/file_problems.py).
              ProfileError PRF-003 when the profile names an encoding that does not exist.
    """
    body = body_of(content, name=name, profile=profile)
    records = find_records(body, delimiter=profile.delimiter)
    if records is None:
        raise _quotes_do_not_pair(name)
    headings = read_headings(body, records, name=name, profile=profile)
    rows = _row_numbers(records, len(headings), name=name, profile=profile)
    frame = parse_rows(body, records, rows, n_columns=len(headings), name=name, profile=profile)
    return name_columns(frame, headings, rows, name=name, profile=profile)


def body_of(content: bytes, *, name: str, profile: Profile) -> bytes:
    """The text from its headings on: UTF-8, plain line ends, no byte-order mark."""
    _refuse_what_is_no_text(content, name=name, profile=profile)
    text = _decode(content, name=name, profile=profile)
    return _from_headings_on(text, name=name, profile=profile)


def _refuse_what_is_no_text(content: bytes, *, name: str, profile: Profile) -> None:
    refuse_empty(content, name=name)
    kind = next((kind for magic, kind in _FORMATS_BY_MAGIC if content.startswith(magic)), None)
    if kind is None and _is_wide(profile):
        return
    if kind is None and content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        raise _wrong_encoding(name, profile, found="UTF-16 text")
    sample = content[:_SAMPLE]
    n_control = len(sample) - len(sample.translate(None, _CONTROL))
    if kind or n_control > _BINARY_SHARE * len(sample):
        raise SourceFileError(
            f"this is no text file but {kind or 'binary data'}",
            where=name,
            expected=f"text with fields separated by {_shown(profile.delimiter)}",
            todo="Export the rows as delimited text (CSV)",
            code="INT-003",
        )


def _is_wide(profile: Profile) -> bool:
    return profile.encoding.lower().replace("_", "-").startswith(("utf-16", "utf-32"))


def _decode(content: bytes, *, name: str, profile: Profile) -> bytes:
    """The text as UTF-8 with plain line ends and without a byte-order mark."""
    try:
        encoding = codecs.lookup(profile.encoding).name
    except LookupError:
        raise ProfileError(
            f"'{profile.encoding}' is no encoding",
            where=f"profile {profile.full_id}, [file] encoding",
            expected='for example "utf-8" or "cp1252"',
            code="PRF-003",
        ) from None
    if encoding in ("utf-8", "utf-8-sig"):
        text = content.removeprefix(codecs.BOM_UTF8)
        _require_utf8(text, name=name, profile=profile)
    else:
        if not _is_wide(profile) and not content.isascii() and _is_utf8(content):
            raise _wrong_encoding(name, profile, found="UTF-8 text")
        try:
            text = content.decode(encoding).removeprefix("\ufeff").encode("utf-8")
        except UnicodeDecodeError as problem:
            raise _wrong_encoding(name, profile, line=_line_of(content, problem.start)) from None
    if b"\0" in text:
        line = _line_of(text, text.index(b"\0"))
        raise SourceFileError(
            "the text holds NUL characters",
            where=f"{name}, line {line}",
            todo="The file is damaged or cut off; export it again",
            code="INT-007",
        )
    return text.replace(b"\r\n", b"\n").replace(b"\r", b"\n") if b"\r" in text else text


def _require_utf8(text: bytes, *, name: str, profile: Profile) -> None:
    if text.isascii():
        return
    try:
        text.decode("utf-8")
    except UnicodeDecodeError as problem:
        raise _wrong_encoding(name, profile, line=_line_of(text, problem.start)) from None


def _is_utf8(content: bytes) -> bool:
    try:
        content.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def _line_of(content: bytes, position: int) -> int:
    return content.count(b"\n", 0, position) + 1


def _wrong_encoding(
    name: str, profile: Profile, *, found: str = "bytes that mean nothing in it", line: int = 0
) -> SourceFileError:
    return SourceFileError(
        f"the text is not in the encoding {profile.encoding}; found {found}",
        where=f"{name}, line {line}" if line else name,
        expected=f"{profile.encoding}, as profile {profile.full_id} states",
        todo="Export in that encoding, or mend `encoding` in the profile",
        code="INT-004",
    )


def _from_headings_on(text: bytes, *, name: str, profile: Profile) -> bytes:
    """The text without the lines above the row of headings."""
    if profile.header_row == 1 and text[:1].strip():
        return text
    lines = text.split(b"\n", profile.header_row - 1)
    if len(lines) < profile.header_row or not lines[-1].strip():
        raise _no_rows(name, profile)
    return lines[-1]


def _no_rows(name: str, profile: Profile) -> SourceFileError:
    return SourceFileError(
        "there are no rows under the headings",
        where=name,
        expected=f"headings in line {profile.header_row} and exams below",
        todo="Export again with rows, or remove the file",
        code="INT-002",
    )


def _quotes_do_not_pair(name: str) -> SourceFileError:
    return SourceFileError(
        "quotation marks do not pair",
        where=name,
        expected='a field that holds a quotation mark is quoted and doubles it: "a ""b"" c"',
        todo="Mend the export",
        code="INT-009",
    )


def read_headings(body: bytes, records: Records, *, name: str, profile: Profile) -> list[str]:
    line = body[: records.ends[0]].decode("utf-8")
    reader = csv.reader(io.StringIO(line, newline=""), delimiter=profile.delimiter)
    try:
        headings = [_plain(field) for field in next(reader, [""])]
    except csv.Error:
        raise SourceFileError(
            "a heading is far too long",
            where=f"{name}, line {profile.header_row}",
            expected="short headings",
            todo="Mend the export; a quotation mark may be missing",
            code="INT-022",
        ) from None
    n_needed = sum(len(c.headings) for c in profile.columns if not c.is_optional)
    if len(headings) == 1 and n_needed > 1:
        raise SourceFileError(
            f"the fields are not separated by {_shown(profile.delimiter)}",
            where=f"{name}, line {profile.header_row}",
            expected=f"several headings, as profile {profile.full_id} states",
            todo="Export with that separator, or mend `delimiter` or `header_row` in the profile",
            code="INT-008",
        )
    return headings


def _plain(heading: str) -> str:
    return " ".join(heading.split())


def _shown(delimiter: str) -> str:
    return {"\t": "tabs", " ": "spaces"}.get(delimiter, f"'{delimiter}'")


def _row_numbers(records: Records, n_columns: int, *, name: str, profile: Profile) -> np.ndarray:
    """Numbers of the rows that hold something; 1 is the first under the headings."""
    rows = np.flatnonzero(~records.is_blank[1:]) + 1
    if not rows.size:
        raise _no_rows(name, profile)
    ragged = rows[records.n_fields[rows] != n_columns]
    if ragged.size:
        shown = ", ".join(
            f"row {row} has {records.n_fields[row]} fields" for row in ragged[:_SHOWN_ROWS].tolist()
        )
        more = f" and {ragged.size - _SHOWN_ROWS} more rows" if ragged.size > _SHOWN_ROWS else ""
        raise SourceFileError(
            f"{shown}{more}",
            where=name,
            expected=f"{n_columns} fields in each row, as there are headings",
            todo="Mend the export; a field that holds the separator must be quoted",
            code="INT-005",
        )
    return rows


def parse_rows(
    body: bytes,
    records: Records,
    rows: np.ndarray,
    *,
    n_columns: int,
    name: str,
    profile: Profile,
) -> pl.DataFrame:
    """These records as text columns c0, c1, …"""
    try:
        frame = pl.read_csv(
            io.BytesIO(records.only(body, rows)),
            has_header=False,
            schema={f"c{number}": pl.String for number in range(n_columns)},
            separator=profile.delimiter,
        )
    except pl.exceptions.PolarsError:
        raise _quotes_do_not_pair(name) from None
    if frame.height != rows.size:
        raise _quotes_do_not_pair(name)
    return frame


def name_columns(
    frame: pl.DataFrame, headings: list[str], rows: np.ndarray, *, name: str, profile: Profile
) -> pl.DataFrame:
    """Give the columns their headings; columns without heading and content fall away."""
    mapped = (heading for column in profile.columns for heading in column.headings)
    known = {_plain(heading) for heading in (*profile.ignore, *mapped)}
    if known.isdisjoint(headings):
        # This is no row of headings; the check of the headings says so and shows none of it.
        headings = [""] * len(headings)
    named = {}
    for number, heading in enumerate(headings):
        if heading or frame[f"c{number}"].null_count() < frame.height:
            named[f"c{number}"] = heading or f"(column {number + 1})"
    doubled = [heading for heading, n in Counter([ROW_NO, *named.values()]).items() if n > 1]
    if doubled:
        places = [str(n + 1) for n, heading in enumerate(headings) if heading in doubled]
        shown = [f"'{heading}'" for heading in doubled if heading in known]
        raise SourceFileError(
            f"columns {', '.join(places)} have the same heading {' '.join(shown)}".rstrip(),
            where=f"{name}, line {profile.header_row}",
            expected="each heading once",
            todo="Rename or remove one of them in the export",
            code="INT-006",
        )
    numbers = pl.Series(ROW_NO, rows, dtype=pl.Int32)
    return frame.select(pl.col(old).alias(new) for old, new in named.items()).insert_column(
        0, numbers
    )
