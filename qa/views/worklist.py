"""SIGNALS of a month → items to decide, ranked by exams at stake."""

from dataclasses import dataclass
from datetime import date
from typing import Any

import polars as pl

from qa.model.months import month_name, months_between
from qa.model.published import Published
from qa.model.words import UnitKind
from qa.views import words
from qa.views.names import unit_names
from qa.views.shown import ChartView

DEVICE_CAUSE = "the probe or the device itself, as all who use it moved together"


@dataclass(frozen=True)
class WorkItem:
    """One thing to decide: what is so, since when, how sure, what it may be and is not, what to do.

    item_id: stays the same from month to month. also: units and measures whose signals have the
    same cause. chart_unit: kind and id of the unit whose chart shows it; a device has none of its
    own, so its site's does. site_id is None for the network.
    """

    signal_id: str
    rank: int
    unit_kind: str
    unit_id: str
    unit_name: str
    site_id: str | None
    measure_id: str
    measure_title: str
    finding: str
    evidence: str
    likely: str
    suggestion: str
    stake_text: str
    at_stake: float
    since: date
    since_text: str
    how_sure: str
    probably_not: str
    item_id: str
    opened: date
    chart_unit: tuple[str, str]
    rules: tuple[str, ...]
    chart: ChartView | None = None
    also: tuple[str, ...] = ()


def stake_text(row: dict[str, Any]) -> str:
    """Example: 'About 16 more than expected of 184 (9 to 24)'"""
    word = "more" if row["direction"] == "higher" else "fewer"
    low, high = sorted((abs(row["at_stake_lower"]), abs(row["at_stake_upper"])))
    if row["at_stake_lower"] < 0:
        low = 0
    return (
        f"About {words.whole(abs(row['at_stake']))} {word} than expected "
        f"of {words.counted(row['n'], 'exam')} ({words.whole(low)} to {words.whole(high)})"
    )


def since_text(row: dict[str, Any]) -> str:
    """Example: 'Since August 2025, at the earliest July, at the latest September 2025; on the list
    for 14 months'
    """
    since, first, last = row["since_month"], row["since_first"], row["since_last"]
    parts = [f"Since {month_name(since)}"]
    if first < since:
        parts.append(f"at the earliest {month_name(first)}")
    if last > since:
        parts.append(f"at the latest {month_name(last)}")
    opened = row["opened_month"] or row["month"]
    n = months_between(opened, row["month"]) + 1
    listed = "new this month" if n == 1 else f"on the list for {words.counted(n, 'month')}"
    return f"{', '.join(parts)}; {listed}"


def work_items(published: Published, signals: pl.DataFrame) -> tuple[WorkItem, ...]:
    """Signals of one month with rank ≥ 1, in order of rank; those explained are named in `also`.

    Where an explaining signal is not among the rows given, the explained one stands for itself.
    """
    names = unit_names(published.network)
    rows = signals.sort("rank", "signal_id").to_dicts()
    known = {row["signal_id"] for row in rows}
    shown = [row for row in rows if row["rank"] > 0 or row["explained_by"] not in known]
    return tuple(
        _item(published, row, names=names, others=rows)
        for row in sorted(shown, key=lambda row: (row["rank"] == 0, row["rank"]))
    )


def chart_unit(row: dict[str, Any]) -> tuple[str, str]:
    """Whose chart shows a signal: its own unit's, for a device its site's."""
    if row["unit_kind"] == UnitKind.DEVICE and row["site_id"]:
        return UnitKind.SITE.value, row["site_id"]
    return row["unit_kind"], row["unit_id"]


def _item(
    published: Published,
    row: dict[str, Any],
    *,
    names: dict[tuple[str, str], str],
    others: list[dict[str, Any]],
) -> WorkItem:
    measure = published.definitions.measures[row["measure_id"]]
    explained = [other for other in others if other["explained_by"] == row["signal_id"]]
    return WorkItem(
        signal_id=row["signal_id"],
        rank=row["rank"],
        unit_kind=row["unit_kind"],
        unit_id=row["unit_id"],
        unit_name=names.get((row["unit_kind"], row["unit_id"]), row["unit_id"]),
        site_id=row["unit_id"] if row["unit_kind"] == UnitKind.SITE else row["site_id"],
        measure_id=row["measure_id"],
        measure_title=measure.title,
        finding=row["finding"],
        evidence=row["evidence"],
        likely=DEVICE_CAUSE if row["unit_kind"] == UnitKind.DEVICE else measure.cause,
        suggestion=row["suggestion"],
        stake_text=stake_text(row),
        at_stake=row["at_stake"],
        since=row["since_month"],
        since_text=since_text(row),
        how_sure=row["how_sure"],
        probably_not=row["probably_not"],
        item_id=row["item_id"] or row["signal_id"],
        opened=row["opened_month"] or row["month"],
        chart_unit=chart_unit(row),
        rules=tuple(row["rules"] or ()),
        also=tuple(
            f"{names.get((other['unit_kind'], other['unit_id']), other['unit_id'])}, "
            f"{words.lower_first(published.definitions.measures[other['measure_id']].title)}"
            for other in explained
        ),
    )
