"""Parquet → raw rows: flat columns of plain types, as text."""

import io
from collections.abc import Callable, Mapping
from typing import TypeVar

import polars as pl

from qa.model.definitions import Profile
from qa.model.errors import SourceFileError
from qa.model.file_problems import ROW_NO
from qa.model.words import FileFormat
from qa.readers.bounds import check_characters, check_size, check_table, is_damaged
from qa.readers.parquet_sizes import MARK, check_parquet_sizes, without_notes
from qa.readers.quiet import without_error_output
from qa.readers.rows import Headings, no_rows, odd_character, refuse_doubled
from qa.readers.typed_text import PLAIN_TYPES, n_characters_of, text_of

T = TypeVar("T")


def read_parquet(content: bytes, *, name: str, profile: Profile) -> pl.DataFrame:
    """Read one file's bytes.

    Args:     content: the whole file.   name: for messages.
    Returns:  ROW_NO (1 is the first row), then one text column for each column of the file.
              Numbers are written as briefly as they can be read back, with the profile's decimal
              sign; days and times as ISO 8601, in UTC with +00:00 where the file says so; a
              not-a-number is null. Rows without content are left out but counted. Columns that the
              profile ignores are never read: they stand there empty.
    Raises:   SourceFileError INT-001, INT-002, INT-006, INT-007, INT-020, INT-021, INT-023, INT-024
              (no Parquet), INT-025 (damaged), INT-029 (a column is nested or of a strange type).
    """
    check_size(len(content), name=name, file_format=FileFormat.PARQUET)
    _refuse_another_format(content, name=name)
    check_parquet_sizes(content, name=name)
    plain = without_notes(content)
    schema = _careful(lambda: pl.read_parquet_schema(io.BytesIO(plain)), name=name)
    check_table(0, len(schema), where=name)
    known = Headings(name)
    headings = {column: known[column] for column in schema}
    refuse_doubled(list(headings.values()), where=name, profile=profile)
    kept = [column for column in schema if headings[column] not in profile.ignore]
    _check_types(schema, kept, name=name)
    typed = _careful(lambda: _read(plain, kept), name=name)
    n_characters = sum(map(n_characters_of, typed))
    check_characters(n_characters, n_bytes=len(content), where=name)
    texts = _careful(
        lambda: {one.name: text_of(one, decimal=profile.decimal) for one in typed}, name=name
    )
    return _rows_with_content(texts, headings, n_rows=typed.height, name=name)


def _refuse_another_format(content: bytes, *, name: str) -> None:
    if not content:
        raise SourceFileError(
            "the file is empty", where=name, todo="Export it again", code="INT-001"
        )
    if not content.startswith(MARK):
        raise SourceFileError(
            "this is no Parquet file",
            where=name,
            expected="a file of the format that the profile states",
            todo="Send the right file, or mend `format` in the profile",
            code="INT-024",
        )


def _careful(read: Callable[[], T], *, name: str) -> T:
    """Run a step that decodes the file's bytes; whatever it stumbles over is damage."""
    try:
        with without_error_output():
            return read()
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException, ValueError, OSError):
        raise is_damaged(name) from None


def _check_types(schema: Mapping[str, pl.DataType], kept: list[str], *, name: str) -> None:
    for number, (column, kind) in enumerate(schema.items(), start=1):
        if column in kept and not kind.is_(pl.Null) and not isinstance(kind, PLAIN_TYPES):
            raise SourceFileError(
                f"column {number} is of the type {kind.base_type().__name__}",
                where=name,
                expected="text, numbers, true or false, days or times; nothing nested",
                todo="Export flat columns, or list the column under `ignore` in the profile",
                code="INT-029",
            )


def _read(content: bytes, kept: list[str]) -> pl.DataFrame:
    return pl.read_parquet(
        io.BytesIO(content), columns=kept, parallel="none", use_statistics=False, glob=False
    )


def _rows_with_content(
    texts: dict[str, pl.Series], headings: dict[str, str], *, n_rows: int, name: str
) -> pl.DataFrame:
    empty = pl.Series([None], dtype=pl.String).new_from_index(0, n_rows)
    frame = pl.DataFrame(
        [texts.get(column, empty).alias(heading) for column, heading in headings.items()]
    ).with_row_index(ROW_NO, 1)
    content = pl.all().exclude(ROW_NO)
    with_nul = frame.filter(pl.any_horizontal(content.str.contains("\0", literal=True)))
    if with_nul.height:
        raise odd_character(f"{name}, row {with_nul[ROW_NO][0]}")
    has_content = pl.any_horizontal(content.str.contains(r'[^\s"]').fill_null(value=False))
    frame = frame.filter(has_content).with_columns(pl.col(ROW_NO).cast(pl.Int32))
    if not frame.height:
        raise no_rows(name, expected="one exam a row")
    return frame
