"""Text → time of the exam, without guessing: a date that could be two dates is none."""

import re
from typing import Literal

import polars as pl

_NAIVE = pl.Datetime("us")
_UTC = pl.Datetime("us", "UTC")
_HOUR_CODES = re.compile(r"%[HIkMSTRXcrsf+]")
_LIKE_A_DATE = r"^\d{1,2}[./-]\d{1,2}[./-](\d{4}|\d{2})(\D|$)"
_LIKE_ISO = r"^\d{4}-\d{2}-\d{2}"
_WITH_OFFSET = r"\d(Z|[+-]\d{2}:?\d{2})$"


def parse_times(rows: pl.DataFrame, *, date_format: str | None) -> pl.DataFrame:
    """Read `exam_at_word`.

    Args:
        rows: needs exam_at_word, file_no.
        date_format: strptime format; None: ISO 8601, with or without an offset.
    Returns: rows with
        local_at: time on the clock of the site; null where the text gives an offset or no time.
        given_at: UTC time, where the text gives an offset.
        is_day_only: the text holds no time of day; the exam is put at noon.
        is_order_unclear: day and month could be the other way round. With a format this is so
            when another row of the same file fits only with day and month exchanged.
    """
    text = pl.col("exam_at_word")
    if date_format is None:
        return _parse_iso(rows)
    if "%z" in date_format:
        parsed = rows.with_columns(given_at=_strptime(text, date_format, _UTC))
        return parsed.with_columns(
            local_at=pl.lit(None, _NAIVE),
            is_day_only=pl.lit(value=False),
            is_order_unclear=pl.lit(value=False),
        )
    is_day_only = _HOUR_CODES.search(date_format) is None
    parsed = rows.with_columns(
        local_at=_local(text, date_format, is_day_only=is_day_only),
        given_at=pl.lit(None, _UTC),
        is_day_only=pl.lit(is_day_only),
        is_order_unclear=pl.lit(value=False),
    )
    return _mark_unclear_order(parsed, date_format, is_day_only=is_day_only)


def _strptime(text: pl.Expr, date_format: str, dtype: pl.Datetime) -> pl.Expr:
    return text.str.strptime(dtype, date_format, strict=False, exact=True)


def _local(text: pl.Expr, date_format: str, *, is_day_only: bool) -> pl.Expr:
    if is_day_only:
        day = text.str.strptime(pl.Date, date_format, strict=False, exact=True)
        return day.cast(_NAIVE) + pl.duration(hours=12)
    return _strptime(text, date_format, _NAIVE)


def _mark_unclear_order(rows: pl.DataFrame, date_format: str, *, is_day_only: bool) -> pl.DataFrame:
    """Doubt a file's dates where one of them fits only with day and month exchanged."""
    is_failed = pl.col("local_at").is_null() & pl.col("exam_at_word").is_not_null()
    if not ("%d" in date_format and "%m" in date_format) or not rows.select(is_failed.any()).item():
        return rows
    swapped = date_format.replace("%d", "\0").replace("%m", "%d").replace("\0", "%m")
    other = _local(pl.col("exam_at_word"), swapped, is_day_only=is_day_only)
    rows = rows.with_columns(other_at=other)
    doubtful = rows.filter(is_failed & pl.col("other_at").is_not_null())["file_no"].unique()
    is_two_dates = pl.col("other_at").is_not_null() & (pl.col("other_at") != pl.col("local_at"))
    return rows.with_columns(
        is_order_unclear=(pl.col("file_no").is_in(doubtful.to_list()) & is_two_dates).fill_null(
            value=False
        )
    ).drop("other_at")


def _parse_iso(rows: pl.DataFrame) -> pl.DataFrame:
    """ISO 8601 and nothing else: of 03/04/2026 nobody knows which number is the month."""
    plain = pl.col("exam_at_word").str.replace("T", " ", literal=True)
    is_iso = plain.str.contains(_LIKE_ISO)
    has_offset = plain.str.contains(_WITH_OFFSET) & (plain.str.len_chars() > len("2026-03-05"))
    with_offset = pl.when(is_iso & has_offset).then(plain.str.replace(r"Z$", "+00:00"))
    naive = pl.when(is_iso & ~has_offset).then(plain)
    day = naive.str.strptime(pl.Date, "%Y-%m-%d", strict=False, exact=True)
    parsed = rows.with_columns(
        local_at=pl.coalesce(
            _strptime(naive, "%Y-%m-%d %H:%M:%S%.f", _NAIVE),
            _strptime(naive, "%Y-%m-%d %H:%M", _NAIVE),
            day.cast(_NAIVE) + pl.duration(hours=12),
        ),
        given_at=pl.coalesce(
            _strptime(with_offset, "%Y-%m-%d %H:%M:%S%.f%z", _UTC),
            _strptime(with_offset, "%Y-%m-%d %H:%M%z", _UTC),
        ),
        is_day_only=day.is_not_null(),
    )
    return parsed.with_columns(
        is_order_unclear=plain.str.contains(_LIKE_A_DATE).fill_null(value=False)
    )


def place_in_time(rows: pl.DataFrame) -> pl.DataFrame:
    """Local time → UTC by each site's time zone.

    Args:
        rows: needs local_at, given_at, is_day_only, time_zone (null where the site is unknown).
    Returns: rows with
        exam_at (UTC; null where the local time is none or two), exam_on and month (of the site),
        is_time_missing (the clock skipped it), is_time_doubled (the clock showed it twice),
        day_starts_at (UTC; the earliest that a day without a time can mean, else exam_at).
    """
    zones = rows["time_zone"].drop_nulls().unique().sort().to_list()
    has_local = pl.col("local_at").is_not_null() & pl.col("time_zone").is_not_null()
    rows = rows.with_columns(placed_at=_in_utc(zones, "null"))
    # The clock shows nearly every time once: only the others are looked at a second time.
    is_odd = has_local & pl.col("placed_at").is_null()
    is_missing = is_doubled = pl.lit(value=False)
    if rows.select(is_odd.any()).item():
        is_missing = is_odd & _in_utc(zones, "earliest").is_null()
        is_doubled = is_odd & ~is_missing
    exam_at = pl.coalesce("given_at", "placed_at")
    rows = rows.with_columns(
        is_time_missing=is_missing, is_time_doubled=is_doubled, exam_at=exam_at
    ).drop("placed_at")
    rows = rows.with_columns(exam_on=_local_day(rows, zones))
    noon = pl.when("is_day_only").then(pl.duration(hours=12)).otherwise(pl.duration(hours=0))
    return rows.with_columns(
        month=pl.col("exam_on").dt.truncate("1mo"), day_starts_at=pl.col("exam_at") - noon
    )


def _in_utc(zones: list[str], ambiguous: Literal["earliest", "null"]) -> pl.Expr:
    result = pl.lit(None, _UTC)
    for zone in zones:
        placed = pl.col("local_at").dt.replace_time_zone(
            zone, ambiguous=ambiguous, non_existent="null"
        )
        utc = placed.dt.convert_time_zone("UTC")
        result = pl.when(pl.col("time_zone") == zone).then(utc).otherwise(result)
    return result


def _local_day(rows: pl.DataFrame, zones: list[str]) -> pl.Expr:
    """The day on the site's clock: of the local time where it is known, else of exam_at."""
    is_placed = pl.col("exam_at").is_not_null() & pl.col("time_zone").is_not_null()
    of_clock = pl.when(is_placed).then(pl.col("local_at").dt.date())
    if rows["given_at"].null_count() == rows.height:
        return of_clock
    result = pl.lit(None, pl.Date)
    for zone in zones:
        day = pl.col("exam_at").dt.convert_time_zone(zone).dt.date()
        result = pl.when(pl.col("time_zone") == zone).then(day).otherwise(result)
    return pl.coalesce(of_clock, result)
