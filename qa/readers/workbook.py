"""Workbooks (XLSX) → raw rows: the cells of one sheet as text.

Cells are read one after the other with the XML parser of the standard library. The general
readers of workbooks were tried: the fast one lays a sheet out as a full rectangle (two cells far
apart ask for gigabytes), turns error values into empty cells and durations into days of 1899; the
other keeps every XML element that it does not know.
"""

import re

import polars as pl

from qa.model.definitions import Profile
from qa.model.errors import SourceFileError
from qa.readers.bounds import MAX_COLUMNS, check_size, is_damaged, refuse_empty, too_many
from qa.readers.rows import Rows, name_columns, no_rows, plain_heading
from qa.readers.workbook_book import Book, as_index, open_book
from qa.readers.workbook_values import CellKind, number_text, unescape

NOT_CALCULATED = "#NO-VALUE"
"""Text of a formula whose result the workbook does not hold; never an empty cell."""

_MAX_ROW = 1_048_576
_PLACE = re.compile(r"([A-Z]{1,3})([0-9]{1,7})\Z")


def read_workbook(content: bytes, *, name: str, profile: Profile) -> pl.DataFrame:
    """Read one sheet of a workbook.

    Args:     content: the whole file.   name: for messages.
              profile: `sheet` names the sheet (needed where there are several), `header_row` is the
              sheet's row of headings.
    Returns:  ROW_NO (1 is the first row under the headings), then one text column for each heading
              from left to right. Numbers are as short as they read back, with the profile's
              decimal sign; days and times are ISO 8601; true and false are words; errors stay as
              they show ("#N/A"); of a formula the stored result counts. Rows without content are
              left out but counted.
    Raises:   SourceFileError INT-001, INT-002, INT-006, INT-007, INT-020, INT-021, INT-023 to
              INT-028 and INT-039 (qa/model/file_problems.py).
    """
    refuse_empty(content, name=name)
    check_size(len(content), name=name, file_format="xlsx")
    book = open_book(content, name=name)
    part = book.part_of_sheet(profile.sheet, profile=profile)
    sheet = _Sheet(book, name=name, profile=profile)
    book.parts.read(part, sheet)
    if not sheet.rows.n_rows:
        raise no_rows(name, expected=f"headings in row {profile.header_row} and exams below")
    frame = sheet.rows.frame()
    columns = sorted(frame.columns[1:], key=lambda column: int(column[1:]))
    headings = {column: sheet.headings.get(column, "") for column in columns}
    return name_columns(frame, headings, name=name, line=profile.header_row, profile=profile)


class _Sheet:
    """Receives the elements of a sheet and keeps the cells from the row of headings on."""

    def __init__(self, book: Book, *, name: str, profile: Profile) -> None:
        self._book, self._name, self._profile = book, name, profile
        self.headings: dict[str, str] = {}
        self.rows = Rows(name=name, n_bytes=book.n_bytes)
        self._row, self._column = 0, 0
        self._cells: dict[str, str] = {}
        self._attributes: dict[str, str] = {}
        self._text: list[str] = []
        self._is_value, self._is_phonetic, self._has_formula = False, False, False

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        if tag == "c":
            self._attributes, self._text, self._has_formula = attributes, [], False
            self._column = self._next_column(attributes.get("r"))
        elif tag in ("v", "t"):
            self._is_value = not self._is_phonetic
        elif tag == "f":
            self._has_formula = True
        elif tag == "rPh":
            self._is_phonetic = True
        elif tag == "row":
            self._open_row(attributes.get("r"))

    def text(self, data: str) -> None:
        if self._is_value:
            self._text.append(data)

    def end(self, tag: str) -> None:
        if tag in ("v", "t"):
            self._is_value = False
        elif tag == "rPh":
            self._is_phonetic = False
        elif tag == "c":
            self._close_cell()
        elif tag == "row":
            self._close_row()

    def _open_row(self, stated: str | None) -> None:
        row = self._row + 1 if stated is None else as_index(stated)
        if not self._row < row <= _MAX_ROW:
            raise is_damaged(self._name, "the rows of the sheet are not in order")
        self._row, self._column, self._cells = row, 0, {}

    def _next_column(self, stated: str | None) -> int:
        if stated is None:
            return self._column + 1
        place = _PLACE.match(stated)
        column = _column_number(place[1]) if place else 0
        if not place or int(place[2]) != self._row or column <= self._column:
            raise is_damaged(self._name, "the cells of the sheet are not in order")
        return column

    def _close_cell(self) -> None:
        if self._row < self._profile.header_row:
            return
        text = self._cell_text("".join(self._text), self._attributes)
        if not text:
            return
        if self._column > MAX_COLUMNS:
            raise too_many("columns", self._column, MAX_COLUMNS, where=self._name)
        self._cells[f"c{self._column - 1}"] = text

    def _cell_text(self, raw: str, attributes: dict[str, str]) -> str:
        kind = attributes.get("t", "n")
        if kind == "s":
            return self._book.shared_text(raw)
        if kind in ("str", "inlineStr"):
            return unescape(raw)
        if not raw.strip():
            return NOT_CALCULATED if self._has_formula else ""
        if kind == "b":
            return {"1": "true", "0": "false"}.get(raw.strip(), raw)
        if kind in ("e", "d"):
            return raw
        return self._number(raw, self._book.kind_of_style(attributes.get("s")))

    def _number(self, raw: str, kind: CellKind) -> str:
        try:
            return number_text(raw, kind, is_1904=self._book.is_1904, decimal=self._profile.decimal)
        except ValueError:
            raise is_damaged(self._name, "a cell of the sheet holds no number") from None
        except OverflowError:
            raise SourceFileError(
                "a number has more than 15 digits, of which a workbook loses the last",
                where=f"{self._name}, sheet row {self._row}, column {self._column}",
                expected="long numbers (of patients or exams) as text",
                todo="Format the column as text and export again",
                code="INT-039",
            ) from None

    def _close_row(self) -> None:
        if self._row == self._profile.header_row:
            self.headings = {column: plain_heading(text) for column, text in self._cells.items()}
            self.rows = Rows(name=self._name, n_bytes=self._book.n_bytes, columns=self._cells)
        elif self._row > self._profile.header_row:
            self.rows.add(self._row - self._profile.header_row, self._cells)


def _column_number(letters: str) -> int:
    """Example: "A" → 1, "AA" → 27"""
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number
