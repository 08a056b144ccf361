"""Parquet → raw rows: flat columns of plain types, as text."""

from collections.abc import Iterable

import polars as pl

from qa.model.definitions import Profile
from qa.model.errors import SourceFileError
from qa.model.file_problems import ROW_NO
from qa.model.words import FileFormat
from qa.readers.bounds import check_size, check_table, is_damaged, refuse_empty
from qa.readers.parquet_process import decode_parquet
from qa.readers.parquet_sizes import MARK, check_parquet_sizes, columns_of, without_notes
from qa.readers.rows import Headings, no_rows, odd_character, refuse_doubled
from qa.readers.typed_text import PLAIN_TYPES, text_of


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
    columns = columns_of(content, name=name)
    check_table(0, len(columns), where=name)
    known = Headings(name)
    headings = {column: known[column] for column in columns}
    refuse_doubled(list(headings.values()), where=name, profile=profile)
    kept = [column for column in columns if headings[column] not in profile.ignore]
    _require_cells([column for column in kept if not columns[column]], columns, name=name)
    if not kept:
        raise no_rows(name, expected="columns that the profile does not ignore")
    typed = decode_parquet(without_notes(content), kept, name=name)
    _require_cells([one.name for one in typed if not _is_plain(one.dtype)], columns, name=name)
    try:
        texts = {one.name: text_of(one, decimal=profile.decimal) for one in typed}
    except (ValueError, pl.exceptions.PolarsError):
        raise is_damaged(name, "a day lies outside the years 1 to 9999") from None
    return _rows_with_content(texts, headings, n_rows=typed.height, name=name)


def _refuse_another_format(content: bytes, *, name: str) -> None:
    refuse_empty(content, name=name)
    if not content.startswith(MARK):
        raise SourceFileError(
            "this is no Parquet file",
            where=name,
            expected="a file of the format that the profile states",
            todo="Send the right file, or mend `format` in the profile",
            code="INT-024",
        )


def _is_plain(kind: pl.DataType) -> bool:
    return kind.is_(pl.Null) or isinstance(kind, PLAIN_TYPES)


def _require_cells(strange: list[str], columns: Iterable[str], *, name: str) -> None:
    """Refuse the first of the columns that no cell can hold; its name is not shown."""
    if strange:
        raise SourceFileError(
            f"column {[*columns].index(strange[0]) + 1} is nested or holds bytes",
            where=name,
            expected="text, numbers, true or false, days or times",
            todo="Export flat columns, or list the column under `ignore` in the profile",
            code="INT-029",
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
