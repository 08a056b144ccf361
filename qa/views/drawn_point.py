"""One point of a drawn series, month by month or day by day."""

from dataclasses import dataclass
from datetime import date
from math import isfinite

from qa.charts.exam_charts import DayPoints


@dataclass(frozen=True)
class DrawnPoint:
    """One point: numbers are in the view's unit, shares where that is "%".

    Args:
        rules: keys of the run rules that it breaks.
        is_removed: it lies in the baseline's period and was taken out of it.
        part: number of the part; points of different parts are not joined.
        begins: what begins with it: "baseline", "devices" or "".
    """

    day: date
    n: int
    value: float | None
    second: float | None
    centre: float | None
    lcl: float | None
    ucl: float | None
    is_outside: bool
    is_baseline: bool
    rules: tuple[str, ...] = ()
    is_removed: bool = False
    part: int = 0
    begins: str = ""


def points_of_days(found: DayPoints) -> list[DrawnPoint]:
    """Points of a chart exam by exam; their centre is 0."""
    columns = (found.value, found.second, found.lcl, found.ucl)
    return [
        DrawnPoint(
            day=day,
            n=int(found.n[place]),
            value=numbers[0],
            second=numbers[1],
            centre=0.0,
            lcl=numbers[2],
            ucl=numbers[3],
            is_outside=bool(found.is_outside[place]),
            is_baseline=False,
        )
        for place, day in enumerate(found.days)
        for numbers in [[float(one[place]) if isfinite(one[place]) else None for one in columns]]
    ]
