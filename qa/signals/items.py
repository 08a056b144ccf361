"""Items that last: the same cause keeps its id from month to month until it is over."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from qa.signals.parts import month_number

Row = dict[str, Any]
Series = tuple[str, str, str, str, str]

MOST_MONTHS_BETWEEN = 2
"""Signals so many months apart are one item: a month between had no exams, or was a good one."""


def series_of(row: Row) -> Series:
    return (
        row["unit_kind"],
        row["unit_id"],
        row["measure_id"],
        row["criteria_id"],
        row["direction"],
    )


@dataclass
class Items:
    """What is open: which item each series belonged to last, and which series led an item.

    A group of signals with one cause carries on the oldest open item whose last leading signal is
    in the group; else the item that its leading signal belonged to last, if no other group
    carries that on; else it is a new item, named after the month and its leading signal.
    """

    last: dict[Series, tuple[str, date]] = field(default_factory=dict)
    leads: dict[str, Series] = field(default_factory=dict)
    opened: dict[str, date] = field(default_factory=dict)

    def carry(self, month: date, groups: Mapping[str, Sequence[Row]]) -> dict[str, str]:
        """Leading signal_id → item id, for the groups of one month; months in order.

        Args: groups: leading signal_id → the leading row first, then the others.
        """
        ordered = sorted(groups, key=lambda one: (-groups[one][0]["at_stake"], one))
        found: dict[str, str] = {}
        taken: set[str] = set()
        for lead in ordered:
            led = self._led_by(groups[lead], month) - taken
            if led:
                found[lead] = min(led, key=lambda one: (self.opened[one], one))
                taken |= led
        for lead in ordered:
            if lead not in found:
                old = self._open_item(series_of(groups[lead][0]), month)
                is_free = old is not None and old not in taken
                found[lead] = old if old and is_free else self._open_new(month, groups[lead][0])
                taken.add(found[lead])
        for lead, rows in groups.items():
            self.leads[found[lead]] = series_of(rows[0])
            for row in rows:
                self.last[series_of(row)] = (found[lead], month)
        return found

    def _open_item(self, series: Series, month: date) -> str | None:
        item, seen = self.last.get(series, (None, month))
        return item if month_number(month) - month_number(seen) <= MOST_MONTHS_BETWEEN else None

    def _led_by(self, rows: Sequence[Row], month: date) -> set[str]:
        """Open items whose last leading series is in the group."""
        found = {series_of(row): self._open_item(series_of(row), month) for row in rows}
        return {item for series, item in found.items() if item and self.leads[item] == series}

    def _open_new(self, month: date, lead: Row) -> str:
        kind, *rest = series_of(lead)
        item = ".".join((f"{month:%Y-%m}", kind, *rest))
        self.opened[item] = month
        return item
