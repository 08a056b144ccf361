"""The bytes of an unknown file → what it is: format, encoding, delimiter, row of headings."""

import codecs
import csv
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from qa.model.words import FileFormat

DELIMITERS = (";", "\t", "|", ",")
_SAMPLE_BYTES = 400_000
_SAMPLE_LINES = 60
_DICM = slice(128, 132)
_MISSING_MARKS = (
    "NA", "N/A", "n/a", "NULL", "null", "-", "--", ".", "?", "k. A.", "k.A.", "keine Angabe",
    "n. d.", "ND", "s/d", "nan", "NaN", "None",
)  # fmt: skip
"""What is written for "nothing" in exports in English, German, French and Spanish."""


@dataclass(frozen=True)
class FileShape:
    """What a file looks like.

    Args:
        format: of FileFormat.
        encoding, delimiter, header_row: of delimited text; header_row counts from 1.
        headings: as they stand in the row of headings, with single blanks; empty where no row
            looks like one.
        sheet: of a workbook with several sheets.
        notes: what could not be told, in words.
    """

    format: str
    encoding: str = "utf-8"
    delimiter: str = ","
    header_row: int = 1
    headings: tuple[str, ...] = ()
    sheet: str = ""
    notes: tuple[str, ...] = ()


def find_shape(content: bytes) -> FileShape:
    """Look at the beginning of a file.

    Args:    content: the file, or its beginning of half a megabyte; unpacked where it was packed.
    Returns: its shape. For workbooks, Parquet, JSON, FHIR and DICOM only the format: their readers
             find the rest.
    """
    kind = _kind_by_magic(content)
    if kind is not None:
        return FileShape(kind)
    encoding, notes = _find_encoding(content)
    text = content[:_SAMPLE_BYTES].decode(encoding, errors="replace").removeprefix("\ufeff")
    kind = _kind_of_json(text)
    if kind is not None:
        return FileShape(kind)
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")[: _SAMPLE_LINES + 1]
    if len(lines) > 1:
        lines = lines[:-1]
    delimiter = _find_delimiter(lines)
    rows = [_split(line, delimiter) for line in lines]
    header = _find_header(rows)
    if header is None:
        return FileShape(FileFormat.CSV, encoding, delimiter, notes=notes)
    headings = tuple(" ".join(field.split()) for field in rows[header])
    return FileShape(FileFormat.CSV, encoding, delimiter, header + 1, headings, notes=notes)


def _kind_by_magic(content: bytes) -> FileFormat | None:
    if content[:4] == b"PK\x03\x04":
        return FileFormat.XLSX
    if content[:4] == b"PAR1":
        return FileFormat.PARQUET
    return FileFormat.DICOM if content[_DICM] == b"DICM" else None


def _kind_of_json(text: str) -> FileFormat | None:
    if not text.lstrip().startswith("{"):
        return None
    return FileFormat.FHIR if '"resourceType"' in text[:20_000] else FileFormat.JSONL


def _find_encoding(content: bytes) -> tuple[str, tuple[str, ...]]:
    for mark, name in (
        (codecs.BOM_UTF8, "utf-8-sig"),
        (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    ):
        if content.startswith(mark):
            return name, ()
    try:
        content.decode("utf-8")
    except UnicodeDecodeError as problem:
        # A character may be cut where the sample ends.
        if problem.start < len(content) - 4:
            return "cp1252", ("The encoding is no UTF-8; cp1252 (Windows, Western) is a guess.",)
    return "utf-8", ()


def _split(line: str, delimiter: str) -> list[str]:
    return next(csv.reader([line], delimiter=delimiter), [])


def _find_delimiter(lines: Sequence[str]) -> str:
    """The one that splits most lines into the same number of fields, most fields first."""
    best = (0.0, 0, ",")
    for delimiter in DELIMITERS:
        widths = Counter(len(_split(line, delimiter)) for line in lines if line.strip())
        if not widths:
            continue
        width, n = max(widths.items(), key=lambda item: (item[0] > 1, item[1]))
        if width > 1:
            best = max(best, (n / sum(widths.values()), width, delimiter))
    return best[2]


def _find_header(rows: Sequence[Sequence[str]]) -> int | None:
    """The first row as wide as most rows that holds no figures; figures could be a person's."""
    widths = Counter(len(row) for row in rows if len(row) > 1)
    if not widths:
        return None
    width = widths.most_common(1)[0][0]
    for number, row in enumerate(rows):
        if len(row) == width and not any(_is_figure(field) for field in row):
            return number
    return None


def _is_figure(field: str) -> bool:
    bare = field.strip().replace(",", "").replace(".", "").replace("-", "").replace("/", "")
    return bare.replace(":", "").replace(" ", "").isdigit()


def missing_marks(columns: Sequence[Sequence[str]]) -> tuple[str, ...]:
    """Signs for "nothing" that stand in the columns.

    A sign counts where most other cells of its column are something else.
    """
    found: dict[str, None] = {"": None}
    for cells in columns:
        counts = Counter(cell.strip() for cell in cells)
        for mark in _MISSING_MARKS:
            if 0 < counts[mark] < len(cells):
                found[mark] = None
    return tuple(found)
