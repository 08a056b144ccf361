"""Items of units that sent nothing this month: they wait, they are not over."""

import polars as pl

from qa.charts.series import SERIES_KEY

_KEY = [*SERIES_KEY, "month"]

MONTHS_KEPT = 2
"""Months without exams through which an item stays on the list."""


def carry_silent(signals: pl.DataFrame, points: pl.DataFrame) -> pl.DataFrame:
    """Add a copy of each change's last signal for months in which its unit has no exams.

    Args:
        signals: rows of changes and differences; month is the signal's.
        points: CHART_POINTS of watched measures; the newest month of all is the last one.
    Returns: the rows with last_seen_month, the month whose exams they speak of; copies follow for
        at most MONTHS_KEPT months, until the unit has exams again.
    """
    if signals.is_empty() or points.is_empty():
        return signals.with_columns(last_seen_month=pl.col("month"))
    newest = points["month"].max()
    rows = signals.with_columns(last_seen_month=pl.col("month"))
    ended = rows.filter("is_change").join(_next_months(rows, points), on=_KEY, how="left")
    is_silent = (pl.col("month") <= newest) & (
        pl.col("next").is_null() | (pl.col("month") < pl.col("next"))
    )
    later = [
        ended.with_columns(month=pl.col("month").dt.offset_by(f"{ahead}mo")).filter(is_silent)
        for ahead in range(1, MONTHS_KEPT + 1)
    ]
    copies = pl.concat(later).drop("next").join(rows, on=_KEY, how="anti")
    return pl.concat([rows, copies.unique(_KEY, keep="first", maintain_order=True)])


def _next_months(rows: pl.DataFrame, points: pl.DataFrame) -> pl.DataFrame:
    """For each signal the next month in which its series has exams; null where there is none."""
    with_exams = points.filter(pl.col("n") > 0).select(*SERIES_KEY, next="month")
    return (
        rows.select(_KEY)
        .unique()
        .with_columns(after=pl.col("month").dt.offset_by("1d"))
        .sort("after")
        .join_asof(
            with_exams.sort("next"),
            left_on="after",
            right_on="next",
            by=list(SERIES_KEY),
            strategy="forward",
            check_sortedness=False,
        )
        .drop("after")
    )
