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

MONTHS_TO_TAKE_UP = 12
"""Months for which an item that was joined to another can be taken up again."""


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

    A group of signals with one cause goes on under the item that its leading signal led last, if
    that is open or was joined to another within the year; else under the oldest open item whose
    last leading signal is in the group; else under the item that its leading signal belonged to,
    if no other group goes on under that; else it is a new item, named after the month and its
    leading signal.
    """

    last: dict[Series, tuple[str, date]] = field(default_factory=dict)
    leads: dict[str, Series] = field(default_factory=dict)
    led: dict[Series, tuple[str, date]] = field(default_factory=dict)
    opened: dict[str, date] = field(default_factory=dict)

    def carry(self, month: date, groups: Mapping[str, Sequence[Row]]) -> dict[str, str]:
        """Leading signal_id → item id, for the groups of one month; months in order.

        Args: groups: leading signal_id → the leading row first, then the others.
        """
        ordered = sorted(groups, key=lambda one: (-groups[one][0]["at_stake"], one))
        found: dict[str, str] = {}
        taken: set[str] = set()
        own = {lead: item for lead in ordered if (item := self._own_item(groups[lead], month))}
        for lead in sorted(own, key=lambda one: not self._has_opened(groups[one][0], own[one])):
            if own[lead] not in taken:
                found[lead] = own[lead]
                taken.add(own[lead])
        for lead in ordered:
            led = self._led_by(groups[lead], month) - taken
            if led and lead not in found:
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
            self.led[series_of(rows[0])] = (found[lead], month)
            for row in rows:
                self.last[series_of(row)] = (found[lead], month)
        return found

    def _open_item(self, series: Series, month: date) -> str | None:
        item, seen = self.last.get(series, (None, month))
        return item if month_number(month) - month_number(seen) <= MOST_MONTHS_BETWEEN else None

    def _own_item(self, rows: Sequence[Row], month: date) -> str | None:
        """The item that the leading signal led last: open still, or joined to another since."""
        series = series_of(rows[0])
        item, seen = self.led.get(series, (None, month))
        now = self._open_item(series, month)
        is_recent = month_number(month) - month_number(seen) <= MONTHS_TO_TAKE_UP
        return item if now is not None and (now == item or is_recent) else None

    def _has_opened(self, row: Row, item: str) -> bool:
        return item == _item_id(self.opened[item], row)

    def _led_by(self, rows: Sequence[Row], month: date) -> set[str]:
        """Open items whose last leading series is in the group."""
        found = {series_of(row): self._open_item(series_of(row), month) for row in rows}
        return {item for series, item in found.items() if item and self.leads[item] == series}

    def _open_new(self, month: date, lead: Row) -> str:
        item = _item_id(month, lead)
        self.opened[item] = month
        return item


def _item_id(opened: date, lead: Row) -> str:
    return ".".join((f"{opened:%Y-%m}", *series_of(lead)))
