"""Tables as bytes: delimited text, a workbook, JSON Lines, Parquet.

Written by general libraries other than those that read them: xlsxwriter, the standard library and
pyarrow. The same rows give the same bytes, wherever and whenever they are written.
"""

import gzip
import io
import json
from datetime import date, datetime
from typing import Any

import polars as pl

from demo_sites.shape import Shape

_MADE_AT = datetime(2026, 1, 1)
_LOOKS = {pl.Date: "yyyy-mm-dd", pl.Datetime: "yyyy-mm-dd hh:mm"}


def text_bytes(table: pl.DataFrame, shape: Shape) -> bytes:
    """Delimited text in the shape's encoding, packed where the shape packs it."""
    comments = {heading for heading, column in shape.headings if column == "comment"}
    text = table.select(
        _text(table[heading], shape).fill_null("" if heading in comments else shape.missing)
        for heading in table.columns
    )
    lead = "".join(f"{line}\n" for line in shape.lead_lines)
    content = (lead + text.write_csv(separator=shape.delimiter)).encode(shape.encoding)
    return gzip.compress(content, mtime=0) if shape.is_packed else content


def _text(values: pl.Series, shape: Shape) -> pl.Series:
    if values.dtype == pl.Date:
        return values.dt.strftime(shape.date_format[:8])
    if values.dtype == pl.Time:
        return values.dt.strftime("%H:%M")
    if isinstance(values.dtype, pl.Datetime):
        return values.dt.strftime(shape.date_format)
    text = values.cast(pl.String)
    is_number = values.dtype == pl.Float64
    return text.str.replace(".", shape.decimal, literal=True) if is_number else text


def workbook_bytes(table: pl.DataFrame, shape: Shape) -> bytes:
    """A workbook whose first sheet only explains; lines stand above the headings of the other."""
    import xlsxwriter

    file = io.BytesIO()
    with xlsxwriter.Workbook(file, {"in_memory": True, "strings_to_formulas": False}) as book:
        book.set_properties({"created": _MADE_AT})
        book.add_worksheet("About").write_column(0, 0, shape.lead_lines)
        sheet = book.add_worksheet(shape.sheet)
        sheet.write_column(0, 0, shape.lead_lines)
        top = len(shape.lead_lines) + 1
        sheet.write_row(top, 0, table.columns)
        for place, values in enumerate(table):
            look = book.add_format({"num_format": _LOOKS.get(values.dtype.base_type(), "General")})
            sheet.write_column(top + 1, place, values.to_list(), look)
    return file.getvalue()


def lines_bytes(table: pl.DataFrame, shape: Shape) -> bytes:
    """One object a line, UTF-8."""
    lines = [
        json.dumps(row, ensure_ascii=False, default=_as_json) for row in table.iter_rows(named=True)
    ]
    return ("\n".join(lines) + "\n").encode()


def _as_json(value: Any) -> str:
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%dT%H:%M:%SZ")
    assert isinstance(value, date)
    return value.isoformat()


def parquet_bytes(table: pl.DataFrame, shape: Shape) -> bytes:
    import pyarrow.parquet

    file = io.BytesIO()
    arrow = table.to_arrow(compat_level=pl.CompatLevel.oldest())
    pyarrow.parquet.write_table(arrow, file, compression="zstd")
    return file.getvalue()
