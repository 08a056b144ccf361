"""SIGNALS of a month → items to decide, ranked by exams at stake."""

from dataclasses import dataclass
from datetime import date
from typing import Any

import polars as pl

from qa.model.published import Published
from qa.model.words import UnitKind
from qa.views import words
from qa.views.names import unit_names
from qa.views.shown import ChartView


@dataclass(frozen=True)
class WorkItem:
    """One thing to decide: what is so, what speaks for it, what it may be, what to do.

    also: units whose signal this one explains. site_id is None for the network.
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
    since: date
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
        likely=measure.cause,
        suggestion=row["suggestion"],
        stake_text=stake_text(row),
        since=row["since_month"],
        rules=tuple(row["rules"] or ()),
        also=tuple(
            f"{names.get((other['unit_kind'], other['unit_id']), other['unit_id'])}, "
            f"{words.lower_first(published.definitions.measures[other['measure_id']].title)}"
            for other in explained
        ),
    )
