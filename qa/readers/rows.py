"""Rows that a reader finds one after the other → a frame of text columns, within bounds."""

import re
from collections import Counter
from collections.abc import Iterable, Mapping

import polars as pl

from qa.model.definitions import Profile
from qa.model.errors import SourceFileError
from qa.model.file_problems import ROW_NO
from qa.readers.bounds import (
    MAX_COLUMNS,
    SPARSE_BASE_CELLS,
    SPARSE_RATIO,
    check_characters,
    check_table,
    too_many,
)

NO_HEADING = "(no heading)"
_ROWS_A_PIECE = 20_000
_NO_CONTENT = re.compile(r"[\s\"]*\Z")


class Rows:
    """Collects rows; each is a mapping of column to text, and an empty text is no value.

    Memory grows with the text that is kept: rows go over to a frame piece by piece.

    Args:     n_bytes: size of the file, which bounds how much text it may hold.
              columns: those that come first, in this order, also where no row fills them.
    """

    def __init__(self, *, name: str, n_bytes: int, columns: Iterable[str] = ()) -> None:
        self._name, self._n_bytes = name, n_bytes
        self._columns = dict.fromkeys(columns)
        self._piece: list[dict[str, str | int]] = []
        self._pieces: list[pl.DataFrame] = []
        self.n_rows = 0
        self._n_filled = 0
        self._n_characters = 0

    def add(self, row_no: int, cells: Mapping[str, str]) -> None:
        """Take one row; a row without content is left out.

        Raises: SourceFileError INT-023 (too many), INT-007 (a NUL or half a character).
        """
        kept = {column: text for column, text in cells.items() if text}
        if all(_NO_CONTENT.match(text) for text in kept.values()):
            return
        self.n_rows += 1
        self._n_filled += len(kept)
        for column, text in kept.items():
            self._columns.setdefault(column)
            self._n_characters += len(text)
            if not _is_writable(text):
                raise odd_character(f"{self._name}, row {row_no}")
        if len(self._columns) > MAX_COLUMNS:
            raise too_many("columns", len(self._columns), MAX_COLUMNS, where=self._name)
        check_characters(self._n_characters, n_bytes=self._n_bytes, where=self._name)
        self._piece.append({ROW_NO: row_no, **kept})
        if len(self._piece) >= _ROWS_A_PIECE:
            self._close_piece()

    def frame(self) -> pl.DataFrame:
        """ROW_NO (Int32) and the columns in the order in which they were first met."""
        self._close_piece()
        return pl.concat(self._pieces, how="diagonal").select(ROW_NO, *self._columns)

    def _close_piece(self) -> None:
        """Before memory is taken: a table that is nearly all empty is no export."""
        n_cells = self.n_rows * len(self._columns)
        check_table(self.n_rows, len(self._columns), where=self._name)
        limit = SPARSE_BASE_CELLS + SPARSE_RATIO * self._n_filled
        if n_cells > limit:
            raise too_many("cells, nearly all of them empty,", n_cells, limit, where=self._name)
        schema = {ROW_NO: pl.Int32, **dict.fromkeys(self._columns, pl.String)}
        self._pieces.append(pl.DataFrame(self._piece, schema=schema, orient="row"))
        self._piece = []


def _is_writable(text: str) -> bool:
    if "\0" in text:
        return False
    if text.isascii():
        return True
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def odd_character(where: str) -> SourceFileError:
    """Error INT-007."""
    return SourceFileError(
        "the text holds NUL characters or halves of characters",
        where=where,
        todo="The file is damaged; export it again",
        code="INT-007",
    )


class Headings(dict[str, str]):
    """A file's own names of columns → headings; each is checked once.

    Raises: SourceFileError INT-007, and INT-023 when there are too many.
    """

    def __init__(self, name: str) -> None:
        super().__init__()
        self._name = name

    def __missing__(self, key: str) -> str:
        if not _is_writable(key):
            raise odd_character(f"{self._name}, headings")
        heading = plain_heading(key) or NO_HEADING
        self[key] = f"{heading} (of the file)" if heading == ROW_NO else heading
        if len(self) > MAX_COLUMNS:
            raise too_many("columns", len(self), MAX_COLUMNS, where=self._name)
        return self[key]


def plain_heading(text: str) -> str:
    """A heading with single blanks, as profiles write it."""
    return " ".join(text.split())


def name_columns(
    frame: pl.DataFrame, headings: Mapping[str, str], *, name: str, line: int, profile: Profile
) -> pl.DataFrame:
    """Give the columns their headings; columns without heading and content fall away.

    Args:     frame: ROW_NO and columns named "c0", "c1" … by their place in the file.
              headings: by column of the frame; "" where the file has none.   line: of the headings.
    Raises:   SourceFileError INT-006: a heading stands twice. It is shown only when the profile
              knows it, since a wrong row of headings could hold a patient's values.
    """
    names = {}
    for column, heading in headings.items():
        if heading or frame[column].null_count() < frame.height:
            names[column] = heading or f"(column {int(column[1:]) + 1})"
    refuse_doubled(list(names.values()), where=f"{name}, sheet row {line}", profile=profile)
    return frame.select(ROW_NO, *(pl.col(old).alias(new) for old, new in names.items()))


def refuse_doubled(headings: list[str], *, where: str, profile: Profile) -> None:
    doubled = [heading for heading, n in Counter([ROW_NO, *headings]).items() if n > 1]
    if not doubled:
        return
    known = {*profile.ignore, *(one for column in profile.columns for one in column.headings)}
    places = [str(n) for n, heading in enumerate(headings, start=1) if heading in doubled]
    shown = [f"'{heading}'" for heading in doubled if heading in known]
    raise SourceFileError(
        f"columns {', '.join(places[:8])} have the same heading {' '.join(shown)}".rstrip(),
        where=where,
        expected="each heading once",
        todo="Rename or remove one of them in the export",
        code="INT-006",
    )


def no_rows(name: str, *, expected: str) -> SourceFileError:
    return SourceFileError(
        "there are no rows",
        where=name,
        expected=expected,
        todo="Export again with rows, or remove the file",
        code="INT-002",
    )
