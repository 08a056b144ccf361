"""Points of a drawn chart: value, limits and broken rules of each month, quarter or event."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import exp, isfinite

import numpy as np
import polars as pl

from qa.charts.draw import draw_series
from qa.charts.published_rules import broken_rules
from qa.charts.run_length import between_call_rate, drawn_run_length
from qa.charts.sequence import BetweenEvents, days_between, exams_between
from qa.counts import count_each
from qa.model.definitions import Measure
from qa.model.published import Published
from qa.views.drawn_point import DrawnPoint
from qa.views.drawn_series import SeriesPart


@dataclass(frozen=True)
class DrawnPart:
    """Points of one part, and how long the chart as drawn runs by chance; nan: not known."""

    points: tuple[DrawnPoint, ...]
    run_length: float


def monthly_part(
    part: SeriesPart,
    number: int,
    *,
    kind: str,
    sigmas: float,
    rules: Sequence[str],
    is_log: bool,
) -> DrawnPart:
    """One part drawn month by month (or quarter by quarter).

    Args: number: of the part. is_log: values are logarithms, shown as shares.
    """
    series = part.series
    drawn = draw_series(series, kind, sigmas=sigmas)
    early = np.array([_is_early(part, month) for month in series.months], dtype=bool)
    broken = broken_rules(drawn, sigmas=sigmas, rules=rules, early=early)

    def shown(values: np.ndarray, place: int) -> float | None:
        value = float(values[place])
        if not isfinite(value):
            return None
        return exp(value) if is_log else value

    points = tuple(
        DrawnPoint(
            day=month,
            n=int(series.n[place]),
            value=shown(drawn.value, place),
            second=shown(drawn.second, place),
            centre=shown(drawn.centre, place),
            lcl=shown(drawn.lcl, place),
            ucl=shown(drawn.ucl, place),
            is_outside=bool(drawn.is_outside[place] and not _is_early(part, month)),
            is_baseline=bool(series.is_baseline[place]),
            rules=broken[place],
            is_removed=month in series.removed,
            part=number,
            begins=part.why if not place else "",
        )
        for place, month in enumerate(series.months)
    )
    return DrawnPart(points, drawn_run_length(series, drawn, sigmas=sigmas, rules=rules))


def _is_early(part: SeriesPart, month: date) -> bool:
    """Up to the end of the baseline nothing is called."""
    return part.baseline is None or month <= part.baseline["to_month"]


def event_part(
    published: Published,
    unit: tuple[str, str],
    measure: Measure,
    kind: str,
    span: tuple[date, date] | None,
    sigmas: float,
) -> DrawnPart:
    """The unit's exams in order, one point for each event but the first."""
    place = {} if unit[0] == "network" else {f"{unit[0]}_id": unit[1]}
    exams = published.frame("exams", **place).sort("exam_at", "exam_key")
    columns = [*measure.numerator, *measure.denominator]
    each = count_each(exams, columns).join(exams.select("exam_key", "exam_on"), on="exam_key")
    each = each.filter(pl.sum_horizontal(*set(measure.denominator)) > 0)
    events = each.select(pl.sum_horizontal(*set(measure.numerator)) > 0).to_series().to_numpy()
    days: Sequence[date] = each["exam_on"].to_list()
    find = exams_between if kind == "g" else days_between
    found = find(days, events, baseline=span, sigmas=sigmas)
    inside = np.array([span is not None and span[0] <= day < span[1] for day in days], dtype=bool)
    return DrawnPart(_between_points(found), _between_length(found, kind, events[inside]))


def _between_points(found: BetweenEvents) -> tuple[DrawnPoint, ...]:
    limits = [one if isfinite(one) else None for one in (found.centre, found.lcl, found.ucl)]
    return tuple(
        DrawnPoint(
            day=day,
            n=1,
            value=float(found.value[place]),
            second=None,
            centre=limits[0],
            lcl=limits[1],
            ucl=limits[2],
            is_outside=not found.is_baseline[place]
            and bool(found.value[place] < found.lcl or found.value[place] > found.ucl),
            is_baseline=bool(found.is_baseline[place]),
        )
        for place, day in enumerate(found.days)
    )


def _between_length(found: BetweenEvents, kind: str, events: np.ndarray) -> float:
    """Events to a false call. Of days only where limits stand: as the normal curve has it."""
    if not isfinite(found.ucl) or kind != "g":
        return float("nan")
    n_events = float(events.sum())
    rate = between_call_rate(
        found.lcl, found.ucl, events=n_events, others=float(len(events)) - n_events
    )
    return 1 / rate if rate else float("inf")
