"""Tables for people: one CSV or XLSX file, whole or not at all, with no formula in it."""

import csv
import io
import os
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import xlsxwriter

from qa.model.errors import ExportError
from qa.model.spreadsheets import safe_text

Cell = str | int | float | bool | None
ENDINGS = (".csv", ".xlsx")
_WIDEST, _NARROWEST = 60, 8
_MADE_AT = datetime(2000, 1, 1)
"""Stands in the workbook as its time, so that equal tables are equal files."""


def check_sheet_name(path: Path) -> None:
    """Raises: ExportError EXP-001 when the ending is neither .csv nor .xlsx."""
    if path.suffix.lower() not in ENDINGS:
        raise ExportError(
            f"cannot write '{path.suffix or path.name}' files",
            where=str(path),
            expected="a name that ends in .csv or .xlsx",
            code="EXP-001",
        )


def write_sheet(
    path: Path,
    *,
    headings: Sequence[str],
    rows: Sequence[Sequence[Cell]],
    title: str,
    notes: Sequence[str] = (),
) -> None:
    """Write a table; text that looks like a formula stays text.

    Args:
        path: the ending says which kind. CSV is UTF-8 with a byte-order mark, as spreadsheet
            programs ask for, with every cell in quotation marks.
        title: name of the workbook's sheet.
        notes: lines of a second sheet, in a workbook only.
    Raises: ExportError when the ending is another one or the place cannot be written.
    """
    check_sheet_name(path)
    is_workbook = path.suffix.lower() == ".xlsx"
    content = _workbook(headings, rows, title, notes) if is_workbook else _text(headings, rows)
    unfinished = path.with_name(path.name + ".unfinished")
    try:
        unfinished.write_bytes(content)
        os.replace(unfinished, path)
    except OSError as problem:
        raise ExportError(
            f"cannot be written ({problem.strerror or problem})",
            where=str(path),
            todo="Choose a folder that exists and has room",
            code="EXP-002",
        ) from None


def _text(headings: Sequence[str], rows: Sequence[Sequence[Cell]]) -> bytes:
    target = io.StringIO()
    writer = csv.writer(target, quoting=csv.QUOTE_ALL)
    for row in (headings, *rows):
        writer.writerow(safe_text(cell) if isinstance(cell, str) else cell for cell in row)
    return target.getvalue().encode("utf-8-sig")


def _workbook(
    headings: Sequence[str], rows: Sequence[Sequence[Cell]], title: str, notes: Sequence[str]
) -> bytes:
    target = io.BytesIO()
    # Text goes in as text: neither formulas, nor links, nor numbers are made out of it.
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(target, options) as book:
        book.set_properties({"created": _MADE_AT})
        head = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
        as_text = book.add_format(
            {"num_format": "@", "quote_prefix": True, "text_wrap": True, "valign": "top"}
        )
        plain = book.add_format({"valign": "top"})
        sheet = book.add_worksheet(title)
        for line, row in enumerate((headings, *rows)):
            for place, cell in enumerate(row):
                if isinstance(cell, str):
                    sheet.write_string(line, place, cell, as_text if line else head)
                elif cell is not None:
                    sheet.write(line, place, cell, plain)
        sheet.freeze_panes(1, 0)
        sheet.autofilter(0, 0, max(len(rows), 1), len(headings) - 1)
        for place, width in enumerate(_widths(headings, rows)):
            sheet.set_column(place, place, width)
        if notes:
            about = book.add_worksheet("About")
            about.set_column(0, 0, 2 * _WIDEST)
            for line, note in enumerate(notes):
                about.write_string(line, 0, note, as_text)
    return target.getvalue()


def _widths(headings: Sequence[str], rows: Sequence[Sequence[Cell]]) -> list[int]:
    """Columns as wide as their longest cell, within bounds."""
    longest = [len(heading) for heading in headings]
    for row in rows:
        longest = [max(one, len(str(cell))) for one, cell in zip(longest, row, strict=True)]
    return [min(max(one + 2, _NARROWEST), _WIDEST) for one in longest]
