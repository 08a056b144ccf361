"""Tables as bytes: delimited text, a workbook, JSON Lines, Parquet.

Written by general libraries other than those that read them: openpyxl, the standard library and
pyarrow. The same rows give the same bytes, wherever and whenever they are written.
"""

import gzip
import io
import json
import zipfile
from datetime import date, datetime
from typing import Any

import polars as pl

from demo_sites.shape import Shape

_LONG_AGO = (1980, 1, 1, 0, 0, 0)
_MADE_AT = datetime(2026, 1, 1)


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
    import openpyxl

    book = openpyxl.Workbook(write_only=True)
    book.properties.created = book.properties.modified = _MADE_AT
    book.create_sheet("About").append(list(shape.lead_lines))
    sheet = book.create_sheet(shape.sheet)
    for line in shape.lead_lines:
        sheet.append([line])
    sheet.append([])
    sheet.append(table.columns)
    for row in table.iter_rows():
        sheet.append(row)
    file = io.BytesIO()
    book.save(file)
    return _without_clock(file.getvalue())


def _without_clock(content: bytes) -> bytes:
    """The same archive with one fixed time for all of its parts."""
    file = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in old.namelist():
            part = old.read(name)
            if name == "docProps/core.xml":
                part = _with_fixed_times(part)
            new.writestr(zipfile.ZipInfo(name, _LONG_AGO), part, zipfile.ZIP_DEFLATED)
    return file.getvalue()


def _with_fixed_times(part: bytes) -> bytes:
    import re

    return re.sub(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", b"2026-01-01T00:00:00Z", part)


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
