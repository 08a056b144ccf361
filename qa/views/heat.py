"""Units × measures of one month: a word and a mark for each, and the figure behind it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from qa.model.definitions import Measure
from qa.model.words import PointState
from qa.views import words

NO_DATA_STATE = "none"

STATE_WORDS: dict[str, str] = {
    PointState.LOOK.value: "look",
    PointState.WATCH.value: "watch",
    PointState.STEADY.value: "steady",
    PointState.FEW.value: "few",
    PointState.LATE.value: "late",
    NO_DATA_STATE: "no data",
}


@dataclass(frozen=True)
class HeatCell:
    """One unit's measure in one month. state: look, watch, steady, few, late or none."""

    measure_id: str
    short_title: str
    state: str
    value: float | None = None
    lower: float | None = None
    upper: float | None = None
    n_events: int | None = None
    n: int | None = None

    @property
    def word(self) -> str:
        return STATE_WORDS[self.state]

    @property
    def text(self) -> str:
        return words.percent_with_interval(self.value, self.lower, self.upper)


@dataclass(frozen=True)
class HeatRow:
    """One unit with its cells, in the order of the measures."""

    unit_id: str
    name: str
    n_exams: int
    cells: tuple[HeatCell, ...]

    @property
    def state(self) -> str:
        """The most urgent state of its cells."""
        states = {cell.state for cell in self.cells}
        return next((state for state in STATE_WORDS if state in states), NO_DATA_STATE)


def heat_rows(
    points: pl.DataFrame,
    *,
    units: Sequence[tuple[str, str]],
    measures: Sequence[Measure],
    n_exams: dict[str, int],
) -> tuple[HeatRow, ...]:
    """CHART_POINTS of one month → one row a unit.

    Args:
        points: one row a unit and measure (scope.month_points).
        units: (id, name) in the order wanted.
        n_exams: exams of the month by unit; a unit without any is late.
    """
    by_key = {(row["unit_id"], row["measure_id"]): row for row in points.iter_rows(named=True)}
    return tuple(
        HeatRow(
            unit_id=unit_id,
            name=name,
            n_exams=n_exams.get(unit_id, 0),
            cells=tuple(
                _cell(measure, by_key.get((unit_id, measure.id)), is_late=not n_exams.get(unit_id))
                for measure in measures
            ),
        )
        for unit_id, name in units
    )


def _cell(measure: Measure, row: dict[str, Any] | None, *, is_late: bool) -> HeatCell:
    if is_late or row is None or not row["n"]:
        state = PointState.LATE.value if is_late else NO_DATA_STATE
        return HeatCell(measure.id, measure.short_title, state)
    return HeatCell(
        measure_id=measure.id,
        short_title=measure.short_title,
        state=row["state"],
        value=row["value"],
        lower=row["lower"],
        upper=row["upper"],
        n_events=row["n_events"],
        n=row["n"],
    )
