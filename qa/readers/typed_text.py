"""Typed columns → text that reads one way only."""

import polars as pl

MAX_WHOLE = 1e15
"""Floats below it hold every whole number exactly."""

PLAIN_TYPES = (
    pl.String, pl.Boolean, pl.Int8, pl.Int16, pl.Int32, pl.Int64, pl.Int128, pl.UInt8, pl.UInt16,
    pl.UInt32, pl.UInt64, pl.Float32, pl.Float64, pl.Decimal, pl.Date, pl.Datetime, pl.Time,
)  # fmt: skip
"""Types whose values are texts, numbers, days or times; a column without any value is Null."""

_DAY_S = 86_400
_FIRST_DAY, _LAST_DAY = -719_162, 2_932_896
"""Days from 1970-01-01 to 0001-01-01 and to 9999-12-31, the range of ISO 8601 dates."""
_PER_S = {"ms": 1_000, "us": 1_000_000, "ns": 1_000_000_000}


def text_of(values: pl.Series, *, decimal: str) -> pl.Series:
    """A column as text; null, not-a-number and "" are null.

    Args:     decimal: the sign that numbers are written with.
    Raises:   ValueError when a day lies outside the years 1 to 9999.
    Example:  9.20 → "9.2"; 12.0 → "12"; 2026-03-05 14:20 in UTC → "2026-03-05T14:20:00+00:00"
    """
    kind = values.dtype
    if kind.is_float():
        return _float_text(values).str.replace_all(".", decimal, literal=True)
    if kind.is_decimal():
        return values.cast(pl.String).str.replace_all(".", decimal, literal=True)
    if isinstance(kind, pl.Date):
        _check_years(values.to_physical(), a_day=1)
        return values.dt.strftime("%Y-%m-%d")
    if isinstance(kind, pl.Datetime):
        _check_years(values.to_physical(), a_day=_DAY_S * _PER_S[kind.time_unit])
        zone = "%:z" if kind.time_zone else ""
        return values.dt.strftime(f"%Y-%m-%dT%H:%M:%S%.f{zone}")
    if isinstance(kind, pl.Time):
        return values.dt.strftime("%H:%M:%S%.f")
    text = values.cast(pl.String)
    return text.set(text == "", None)


def _float_text(values: pl.Series) -> pl.Series:
    """Whole numbers without a fraction: a column of codes with gaps often comes as floats."""
    value = pl.col(values.name)
    is_whole = (value == value.round()) & (value.abs() < MAX_WHOLE)
    whole = pl.when(is_whole).then(value).cast(pl.Int64).cast(pl.String)
    text = pl.when(is_whole).then(whole).otherwise(value.cast(pl.String))
    return values.fill_nan(None).to_frame().select(text)[values.name]


def _check_years(days: pl.Series, *, a_day: int) -> None:
    low, high = days.min(), days.max()
    if isinstance(low, int) and isinstance(high, int):
        is_inside = low >= _FIRST_DAY * a_day and high < (_LAST_DAY + 1) * a_day
        if not is_inside:
            raise ValueError("outside the years 1 to 9999")
