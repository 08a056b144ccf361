"""Parquet → raw rows: flat columns of plain types, as text."""

from collections.abc import Iterator, Sequence
from typing import Any

import polars as pl

from qa.model.definitions import Profile
from qa.model.errors import SourceFileError
from qa.model.file_problems import ROW_NO
from qa.readers.bounds import (
    MAX_CHARACTERS,
    check_size,
    check_table,
    is_damaged,
    too_many,
    unpack_limit,
    unpacks_too_far,
)
from qa.readers.parquet_pages import largest_page
from qa.readers.parquet_values import n_characters_of, text_of
from qa.readers.rows import Headings, no_rows, odd_character, refuse_doubled

_MARK = b"PAR1"
_ROWS_AT_ONCE = 65_536
_FOOTER_STRINGS = 16 * 1024 * 1024
_FOOTER_ITEMS = 200_000


def read_parquet(content: bytes, *, name: str, profile: Profile) -> pl.DataFrame:
    """Read one file's bytes.

    Args:     content: the whole file.   name: for messages.
    Returns:  ROW_NO (1 is the first row), then one text column for each column of the file.
              Numbers are written as briefly as they can be read back, with the profile's decimal
              sign; days and times as ISO 8601, with offset where the file has a zone; a
              not-a-number is null. Rows without content are left out but counted. Columns that the
              profile ignores are never read: they stand there empty.
    Raises:   SourceFileError INT-001, INT-002, INT-006, INT-007, INT-020, INT-021, INT-023, INT-024
              (no Parquet), INT-025 (damaged), INT-029 (a column is nested or of a strange type).
    """
    check_size(len(content), name=name, file_format="parquet")
    file = _open(content, name=name)
    file = _open(content, name=name, dictionaries=_texts(file))
    headings = Headings(name)
    columns = [headings[column] for column in file.schema_arrow.names]
    refuse_doubled(columns, where=name, profile=profile)
    kept = [n for n, heading in enumerate(columns) if heading not in profile.ignore]
    _check_types(file, kept, name=name)
    _check_sizes(content, file, name=name)
    pieces = list(_read_pieces(file, columns, kept, name=name, decimal=profile.decimal))
    frame = pl.concat(pieces) if pieces else pl.DataFrame()
    if not frame.height:
        raise no_rows(name, expected="one exam a row")
    return frame


def _open(content: bytes, *, name: str, dictionaries: Sequence[str] = ()) -> Any:
    import pyarrow as pa
    import pyarrow.parquet as pq

    if not content:
        raise SourceFileError(
            "the file is empty", where=name, todo="Export it again", code="INT-001"
        )
    if not content.startswith(_MARK):
        raise SourceFileError(
            "this is no Parquet file",
            where=name,
            expected="a file of the format that the profile states",
            todo="Send the right file, or mend `format` in the profile",
            code="INT-024",
        )
    try:
        return pq.ParquetFile(
            pa.BufferReader(content),
            thrift_string_size_limit=_FOOTER_STRINGS,
            thrift_container_size_limit=_FOOTER_ITEMS,
            read_dictionary=list(dictionaries) or None,
            pre_buffer=False,
        )
    except (pa.ArrowException, OSError, ValueError):
        raise is_damaged(name) from None


def _texts(file: Any) -> list[str]:
    """Columns of text: read as dictionaries, so that a text that repeats is held once."""
    import pyarrow.types as types

    schema = file.schema_arrow
    is_text = [types.is_string(kind) or types.is_large_string(kind) for kind in schema.types]
    return [column for column, one in zip(schema.names, is_text, strict=True) if one]


def _check_types(file: Any, kept: list[int], *, name: str) -> None:
    import pyarrow.types as types

    plain = (
        types.is_string, types.is_large_string, types.is_boolean, types.is_integer,
        types.is_floating, types.is_decimal, types.is_date, types.is_timestamp, types.is_time,
        types.is_null,
    )  # fmt: skip
    for number in kept:
        kind = file.schema_arrow.types[number]
        kind = kind.value_type if types.is_dictionary(kind) else kind
        if not any(is_kind(kind) for is_kind in plain):
            raise SourceFileError(
                f"column {number + 1} is of the type {str(kind)[:40]}",
                where=name,
                expected="text, numbers, true or false, days or times; nothing nested",
                todo="Export flat columns, or list the column under `ignore` in the profile",
                code="INT-029",
            )


def _check_sizes(content: bytes, file: Any, *, name: str) -> None:
    """What the footer and the pages say, before any page is unpacked."""
    check_table(file.metadata.num_rows, file.metadata.num_columns, where=name)
    limit = unpack_limit(len(content), file_format="parquet")
    n_bytes = 0
    for group_no in range(file.metadata.num_row_groups):
        group = file.metadata.row_group(group_no)
        for column_no in range(group.num_columns):
            n_bytes += max(group.column(column_no).total_uncompressed_size, 0)
            if n_bytes > limit or largest_page(content, group.column(column_no), name=name) > limit:
                raise unpacks_too_far(name, limit)


def _read_pieces(
    file: Any, columns: list[str], kept: list[int], *, name: str, decimal: str
) -> Iterator[pl.DataFrame]:
    """Text pieces of some thousand rows; texts stay in dictionaries until they are counted."""
    import pyarrow as pa

    names = file.schema_arrow.names
    row_no, n_characters = 0, 0
    try:
        for batch in file.iter_batches(
            _ROWS_AT_ONCE, columns=[names[n] for n in kept], use_threads=False
        ):
            n_characters += sum(map(n_characters_of, batch.columns))
            if n_characters > MAX_CHARACTERS:
                raise too_many("characters", n_characters, MAX_CHARACTERS, where=name)
            batch.validate(full=True)
            texts = {
                columns[n]: text_of(column, decimal=decimal)
                for n, column in zip(kept, batch.columns, strict=True)
            }
            piece = pl.DataFrame(
                {ROW_NO: pl.int_range(row_no + 1, row_no + batch.num_rows + 1, eager=True)}
            ).with_columns(
                texts.get(column, pl.lit(None, pl.String)).alias(column) for column in columns
            )
            yield _without_empty(piece, name=name)
            row_no += batch.num_rows
    except (pa.ArrowException, OSError, ValueError, pl.exceptions.PolarsError):
        raise is_damaged(name) from None


def _without_empty(piece: pl.DataFrame, *, name: str) -> pl.DataFrame:
    """Only rows with content; the row number is Int32 as from every reader."""
    texts = pl.all().exclude(ROW_NO)
    with_nul = piece.filter(pl.any_horizontal(texts.str.contains("\0", literal=True)))
    if with_nul.height:
        raise odd_character(f"{name}, row {with_nul[ROW_NO][0]}")
    has_content = pl.any_horizontal(texts.str.contains(r'[^\s"]').fill_null(value=False))
    return piece.filter(has_content).with_columns(pl.col(ROW_NO).cast(pl.Int32))
