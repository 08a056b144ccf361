"""INTAKE_MONTHS → sites × months, each month with its state as a word."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from qa.model.published import Published
from qa.model.words import IntakeState, PointState

NOT_KNOWN = "–"
_LATER = ("n_came_later", "n_changed_later", "n_left_later")
MARKS: dict[str, str] = {
    IntakeState.IN: PointState.STEADY.value,
    IntakeState.THIN: PointState.WATCH.value,
    IntakeState.PARTIAL: PointState.WATCH.value,
    IntakeState.LATE: PointState.LOOK.value,
}
"""State → mark of the charts: a dot, a hollow or a filled diamond; other states have their word."""


@dataclass(frozen=True)
class IntakeCell:
    """One site's month. state: a word of IntakeState, or '–' before the site's first month."""

    month: date
    state: str
    sentence: str
    n_exams: int
    is_closed: bool = False
    is_restated: bool = False

    @property
    def mark(self) -> str | None:
        return MARKS.get(self.state)

    @property
    def is_plain(self) -> bool:
        """Nothing to say about it but that it is in, or that it is not there to speak of."""
        return self.state in (IntakeState.IN, NOT_KNOWN) and not self.is_restated


@dataclass(frozen=True)
class IntakeRow:
    """One site's months, oldest first, and the rows of it that wait now."""

    site_id: str
    name: str
    cells: tuple[IntakeCell, ...]
    n_waiting: int

    @property
    def last(self) -> IntakeCell:
        return self.cells[-1]


def intake_rows(
    published: Published,
    *,
    months: Sequence[date],
    n_waiting: Mapping[str | None, int],
    site_id: str | None = None,
) -> tuple[IntakeRow, ...]:
    """A row for each site of the network, or for one.

    Args: months: oldest first. n_waiting: site → rows that wait now.
    """
    only = {} if site_id is None else {"site_id": site_id}
    known = {
        (row["site_id"], row["month"]): _cell(row)
        for row in published.frame("intake_months", month=list(months), **only).iter_rows(
            named=True
        )
    }
    return tuple(
        IntakeRow(
            site.id,
            site.name,
            tuple(
                known.get((site.id, month), IntakeCell(month, NOT_KNOWN, "", 0)) for month in months
            ),
            n_waiting.get(site.id, 0),
        )
        for site in published.network.sites
        if site_id in (None, site.id)
    )


def _cell(row: dict[str, Any]) -> IntakeCell:
    return IntakeCell(
        month=row["month"],
        state=row["state"],
        sentence=row["sentence"],
        n_exams=row["n_exams"],
        is_closed=row["is_closed"],
        is_restated=sum(row[name] for name in _LATER) > 0,
    )


def remarks(rows: Iterable[IntakeRow]) -> tuple[tuple[str, date, str], ...]:
    """(site, month, sentence) of the cells that are not plain, newest month first."""
    found = [
        (row.name, cell.month, cell.sentence)
        for row in rows
        for cell in row.cells
        if not cell.is_plain
    ]
    return tuple(sorted(found, key=lambda one: one[1], reverse=True))
