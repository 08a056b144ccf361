"""Typed Arrow columns → text that reads one way only."""

from typing import Any

import polars as pl

MAX_WHOLE = 1e15
"""Floats below it hold every whole number exactly."""

_DAY = 86_400
_FIRST_DAY, _LAST_DAY = -719_162, 2_932_896
"""Days from 1970-01-01 to 0001-01-01 and to 9999-12-31, the range of ISO 8601 dates."""


def n_characters_of(column: Any) -> int:
    """Bytes of text that a column would take when written out; 0 for other types."""
    import pyarrow as pa
    import pyarrow.compute as pc

    if not pa.types.is_dictionary(column.type):
        return 0
    if not _is_text(column.type.value_type):
        return 0
    lengths = pc.binary_length(column.dictionary).cast(pa.int64())
    return pc.sum(lengths.take(column.indices)).as_py() or 0


def text_of(column: Any, *, decimal: str) -> pl.Series:
    """One Arrow array as text; null, not-a-number and "" are null.

    Args:     decimal: the sign that numbers are written with.
    Raises:   ValueError when a day lies outside the years 1 to 9999.
    Example:  9.20 → "9.2"; 12.0 → "12"; 2026-03-05 14:20 in UTC → "2026-03-05T14:20:00+00:00"
    """
    import pyarrow as pa

    if pa.types.is_dictionary(column.type):
        column = column.dictionary_decode()
    kind = column.type
    if pa.types.is_decimal(kind):
        return pl.from_arrow(column.cast(pa.string())).str.replace_all(".", decimal, literal=True)
    if pa.types.is_date(kind) or pa.types.is_timestamp(kind):
        _check_years(column)
    values = pl.Series(pl.from_arrow(column))
    if values.dtype.is_float():
        return _float_text(values).str.replace_all(".", decimal, literal=True)
    if values.dtype == pl.Date:
        return values.dt.strftime("%Y-%m-%d")
    if isinstance(values.dtype, pl.Datetime):
        zone = "%:z" if values.dtype.time_zone else ""
        return values.dt.strftime(f"%Y-%m-%dT%H:%M:%S%.f{zone}")
    if values.dtype == pl.Time:
        return values.dt.strftime("%H:%M:%S%.f")
    text = values.cast(pl.String)
    return text.set(text == "", None)


def _is_text(kind: Any) -> bool:
    import pyarrow as pa

    return pa.types.is_string(kind) or pa.types.is_large_string(kind)


def _float_text(values: pl.Series) -> pl.Series:
    """Whole numbers without a fraction: a column of codes with gaps often comes as floats."""
    frame = values.fill_nan(None).alias("v").to_frame()
    is_whole = (pl.col("v") == pl.col("v").round()) & (pl.col("v").abs() < MAX_WHOLE)
    whole = pl.when(is_whole).then(pl.col("v")).cast(pl.Int64).cast(pl.String)
    return frame.select(pl.when(is_whole).then(whole).otherwise(pl.col("v").cast(pl.String)))["v"]


def _check_years(column: Any) -> None:
    import pyarrow as pa
    import pyarrow.compute as pc

    units = {"s": 1, "ms": 1_000, "us": 1_000_000, "ns": 1_000_000_000}
    if pa.types.is_date32(column.type):
        a_day, column = 1, column.view(pa.int32())
    else:
        unit = "ms" if pa.types.is_date64(column.type) else column.type.unit
        a_day, column = _DAY * units[unit], column.view(pa.int64())
    ends = pc.min_max(column)
    low, high = ends["min"].as_py(), ends["max"].as_py()
    if low is not None and (low < _FIRST_DAY * a_day or high >= (_LAST_DAY + 1) * a_day):
        raise ValueError("outside the years 1 to 9999")
