"""What a Parquet file asks for, from its footer and page headers, before anything is unpacked.

A reader of Parquet takes as much memory as a page header asks for; and the reader that comes with
Arrow ends the whole process on some damaged footers. So both are read here first.
Format: Apache Parquet, parquet.thrift (FileMetaData, RowGroup, ColumnChunk, PageHeader).
"""

from dataclasses import dataclass
from typing import Any

from qa.model.errors import SourceFileError
from qa.model.words import FileFormat
from qa.readers.bounds import (
    MAX_CELLS,
    MAX_ROWS,
    MIB,
    SPARSE_BASE_CELLS,
    SPARSE_RATIO,
    check_table,
    is_damaged,
    too_many,
    unpack_limit,
    unpacks_too_far,
)
from qa.readers.thrift import Compact, NoThrift

MARK = b"PAR1"
_MAX_FOOTER = 4 * MIB
_DELTA_TEXT = 7
_REPEATED = 2
_NOTES, _NO_NOTES = b"ARROW:schema", b"ARROW.ignore"
_PAGE_KINDS = (5, 7, 8)
"""Fields of PageHeader: data page, dictionary page, data page of the second version."""
_ENCODING_FIELD = {5: 2, 7: 2, 8: 4}


@dataclass(frozen=True)
class _Chunk:
    """One column in one group of rows."""

    start: int
    end: int
    n_values: int
    n_unpacked: int


def columns_of(content: bytes, *, name: str) -> dict[str, bool]:
    """Names of the columns in order, and whether each is flat.

    Raises: SourceFileError INT-006 (a name stands twice), INT-025 (damaged).
    """
    try:
        top, *elements = _footer(content, name=name)[2]
        at, columns = 0, {}
        for _ in range(top[5]):
            element = elements[at]
            size = _size_of(elements, at)
            columns[element[4].decode("utf-8")] = size == 1 and element.get(3) != _REPEATED
            at += size
        is_whole = at == len(elements) and len(columns) == top[5]
    except (ValueError, LookupError, TypeError, AttributeError):
        raise is_damaged(name) from None
    if not is_whole:
        raise is_damaged(name, "a column stands twice, or the list of columns is damaged")
    return columns


def _size_of(elements: list[dict[int, Any]], at: int) -> int:
    """Elements of the schema that belong to the one at `at`, itself included."""
    size, open_children = 0, 1
    while open_children:
        children = elements[at + size].get(5, 0)
        if children < 0:
            raise NoThrift
        open_children += children - 1
        size += 1
    return size


def without_notes(content: bytes) -> bytes:
    """The file without what a program noted about types of its own (keys of the footer).

    Zones, categories and the like come from there; the format's own types say all that is needed.
    """
    start = len(content) - 8 - int.from_bytes(content[-8:-4], "little")
    return content[:start] + content[start:].replace(_NOTES, _NO_NOTES)


def check_parquet_sizes(content: bytes, *, name: str) -> None:
    """Refuse a file that asks for too much.

    Raises: SourceFileError INT-021 (unpacks too far), INT-023 (too many), INT-025 (damaged),
            INT-029 (text in the delta encoding, which does not say how far it unpacks).
    """
    try:
        _check(content, name=name)
    except (ValueError, LookupError, TypeError, AttributeError):  # Another structure than asked.
        raise is_damaged(name) from None


def _check(content: bytes, *, name: str) -> None:
    footer = _footer(content, name=name)
    groups = footer[4]
    n_rows = footer[3]
    if n_rows < 0 or sum(group[3] for group in groups) != n_rows:
        raise is_damaged(name)
    n_columns = max((len(group[1]) for group in groups), default=0)
    check_table(n_rows, n_columns, where=name)
    n_cells = n_rows * n_columns
    if n_cells > SPARSE_BASE_CELLS + SPARSE_RATIO * len(content):
        raise too_many("cells in a file of this size", n_cells, SPARSE_BASE_CELLS, where=name)
    limit = unpack_limit(len(content), file_format=FileFormat.PARQUET)
    n_unpacked = 0
    for chunk in (_chunk(column) for group in groups for column in group[1]):
        if (
            not 4 <= chunk.start <= chunk.end <= len(content)
            or not 0 <= chunk.n_values <= MAX_CELLS
        ):
            raise is_damaged(name)
        n_unpacked += max(chunk.n_unpacked, _unpacked_by_pages(content, chunk, name=name))
        if n_unpacked > limit:
            raise unpacks_too_far(name, limit)


def _footer(content: bytes, *, name: str) -> dict[int, Any]:
    if len(content) < 12 or not content.endswith(MARK):
        raise is_damaged(name)
    length = int.from_bytes(content[-8:-4], "little")
    if not 0 < length <= min(_MAX_FOOTER, len(content) - 12):
        raise is_damaged(name)
    return Compact(content[-8 - length : -8], 0).struct()


def _chunk(column: dict[int, Any]) -> _Chunk:
    meta = column[3]
    if column.get(1):  # The data would lie in another file.
        raise NoThrift
    starts = [start for start in (meta[9], meta.get(11, 0)) if start > 0]
    start = min(starts, default=0)
    return _Chunk(start, start + meta[7], meta[5], max(meta[6], 0))


def _unpacked_by_pages(content: bytes, chunk: _Chunk, *, name: str) -> int:
    at, n_unpacked, n_values = chunk.start, 0, 0
    while at < chunk.end:
        header = Compact(content, at)
        page = header.struct()
        unpacked, packed = page[2], page[3]
        if unpacked < 0 or packed < 0:
            raise NoThrift
        for kind in _PAGE_KINDS:
            if kind in page:
                if page[kind][_ENCODING_FIELD[kind]] == _DELTA_TEXT:
                    raise _no_delta_text(name)
                if not 0 <= page[kind][1] <= MAX_ROWS:
                    raise NoThrift
                n_values += page[kind][1] if kind != 7 else 0
        n_unpacked += unpacked
        at = header.at + packed
    if at != chunk.end or n_values != chunk.n_values:
        raise NoThrift
    return n_unpacked


def _no_delta_text(name: str) -> SourceFileError:
    return SourceFileError(
        "a column is in the encoding DELTA_BYTE_ARRAY",
        where=name,
        expected="text as plain or dictionary encoding",
        todo="Export it again with one of these encodings",
        code="INT-029",
    )
