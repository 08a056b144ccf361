"""Signals of all months → signals that say which of them have one cause and are one item."""

from collections import defaultdict
from datetime import date
from typing import Any

import polars as pl

from qa.signals.causes import MonthCauses
from qa.signals.families import Families
from qa.signals.items import Items
from qa.signals.parts import Places

Row = dict[str, Any]


def join_signals(signals: pl.DataFrame, *, families: Families, places: Places) -> pl.DataFrame:
    """Add explained_by, item_id and opened_month; add the signals of devices.

    Args:
        signals: rows with signal_id, since_first, since_last, at_once_share and the columns that
            find_changes and find_outliers give.
        places: exams behind the signals, part by part.
    Returns: the same rows and one for each device that stands for others. explained_by is the
        signal that stands for it in the end, null where it stands for itself.
    Method: months in order, each by the rules of causes.py and items.py; what comes later changes
        no earlier month.
    """
    by_month: dict[date, list[Row]] = defaultdict(list)
    for row in signals.sort("month", "signal_id").to_dicts():
        by_month[row["month"]].append(row)
    items = Items()
    joined: list[Row] = []
    for month in sorted(by_month):
        joined += _join_month(month, by_month[month], items, families=families, places=places)
    schema = dict(signals.schema) | {
        "explained_by": pl.String,
        "item_id": pl.String,
        "opened_month": pl.Date,
    }
    return pl.DataFrame(joined, schema=schema)


def _join_month(
    month: date, rows: list[Row], items: Items, *, families: Families, places: Places
) -> list[Row]:
    causes = MonthCauses(rows, families=families, places=places)
    causes.join()
    groups: dict[str, list[Row]] = {row["signal_id"]: [row] for row in causes.standing()}
    for signal_id, row in causes.rows.items():
        lead = causes.lead(signal_id)
        if lead != signal_id:
            groups[lead].append(row)
    found = items.carry(month, groups)
    return [
        row
        | {
            "explained_by": None if row["signal_id"] == lead else lead,
            "item_id": found[lead],
            "opened_month": items.opened[found[lead]],
        }
        for lead, members in groups.items()
        for row in members
    ]


def rank_signals(signals: pl.DataFrame) -> pl.DataFrame:
    """Add rank: place in the month by exams at stake, 1 is most; 0 where explained."""
    ordered = signals.sort(["month", "at_stake", "signal_id"], descending=[False, True, False])
    stands = pl.col("explained_by").is_null()
    return ordered.with_columns(
        rank=pl.when(stands)
        .then(stands.cast(pl.Int32).cum_sum().over("month"))
        .otherwise(pl.lit(0))
        .cast(pl.Int32)
    )
