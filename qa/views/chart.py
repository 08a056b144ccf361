"""CHART_POINTS → ChartView: one control chart with its finding in words."""

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import polars as pl

from qa.measures import counted_noun
from qa.model.definitions import Measure
from qa.model.months import add_months, month_name
from qa.model.published import Published
from qa.model.words import PointState, TargetVerdict, UnitKind
from qa.views import words
from qa.views.chart_unsigned import unsigned_parts
from qa.views.chart_words import (
    baseline_note,
    baseline_text,
    off_target,
    other_breaks,
    pooled,
    why_chart,
)
from qa.views.modes import mixed_text
from qa.views.names import unit_name
from qa.views.rates import rates_text
from qa.views.shown import ChartPoint, ChartView


@dataclass(frozen=True)
class ChartFrames:
    """The published rows that charts are cut from, read once for many charts."""

    points: pl.DataFrame
    baselines: pl.DataFrame
    signals: pl.DataFrame


def chart_frames(published: Published, **equal_to: object) -> ChartFrames:
    """Rows of the three frames that equal the given unit_kind, unit_id, measure_id …"""
    # A unit without a baseline of its own is drawn against the network's.
    kind = equal_to.get("unit_kind")
    shared = {"unit_kind": [kind, UnitKind.NETWORK.value]} if isinstance(kind, str) else {}
    return ChartFrames(
        points=published.frame("chart_points", **equal_to),
        baselines=published.frame("baselines", **shared),
        signals=published.frame("signals", **equal_to),
    )


def chart_view(
    published: Published,
    *,
    unit_kind: str,
    unit_id: str,
    measure_id: str,
    last_month: date,
    months: int = 24,
) -> ChartView:
    """One control chart up to last_month.

    Args: months: length of the chart, last_month included.
    Returns: the view; without points where the unit has no exams in the period, or none that the
        measure counts.
    Raises: KeyError: a measure that the snapshot does not define (pages check first).
    """
    frames = chart_frames(published, unit_kind=unit_kind, unit_id=unit_id, measure_id=measure_id)
    return cut_chart(
        frames,
        published=published,
        unit_kind=unit_kind,
        unit_id=unit_id,
        measure_id=measure_id,
        last_month=last_month,
        months=months,
    )


def cut_chart(
    frames: ChartFrames,
    *,
    published: Published,
    unit_kind: str,
    unit_id: str,
    measure_id: str,
    last_month: date,
    months: int = 24,
) -> ChartView:
    """The same as chart_view, from rows that are read already."""
    is_chart = (
        (pl.col("unit_kind") == unit_kind)
        & (pl.col("unit_id") == unit_id)
        & (pl.col("measure_id") == measure_id)
    )
    first_month = add_months(last_month, 1 - months)
    rows = frames.points.filter(is_chart, pl.col("month").is_between(first_month, last_month)).sort(
        "month", "criteria_id"
    )
    measure = published.definitions.measures[measure_id]
    noun = counted_noun(measure)
    points = tuple(_point(row) for row in rows.iter_rows(named=True))
    counts_nothing = bool(points) and not any(point.n for point in points)
    if counts_nothing:
        points = ()
    signal = frames.signals.filter(is_chart, pl.col("month") == last_month)
    return ChartView(
        unit_kind=unit_kind,
        unit_id=unit_id,
        unit_name=unit_name(published.network, unit_kind, unit_id),
        measure_id=measure_id,
        measure_title=measure.title,
        short_title=measure.short_title,
        finding=f"{measure.title}: no {noun}s that it counts"
        if counts_nothing
        else _finding(points, signal, measure=measure, last_month=last_month),
        why_chart=" ".join(
            one
            for one in (
                why_chart(rows, frames.baselines, noun),
                _patients_text(rows),
                mixed_text(
                    published, measure, unit_kind, unit_id, months=(first_month, last_month)
                ),
                rates_text(published, measure_id, points[-1].criteria_id) if points else "",
            )
            if one
        ),
        points=points,
        baseline_text=baseline_text(rows, frames.baselines, noun),
        better=measure.better,
        is_grade=measure.is_grade,
        criteria_breaks=_criteria_breaks(points),
        other_breaks=other_breaks(points),
        baseline_note=baseline_note(rows, frames.baselines),
        noun=noun,
        unsigned=unsigned_parts(
            published,
            measure,
            unit_kind=unit_kind,
            unit_id=unit_id,
            shown=(first_month, add_months(last_month, 1) - timedelta(days=1)),
        ),
    )


def _point(row: dict) -> ChartPoint:
    return ChartPoint(
        month=row["month"],
        n=row["n"],
        n_events=row["n_events"],
        value=row["value"],
        lower=row["lower"],
        upper=row["upper"],
        centre=row["centre"],
        lcl=row["lcl"],
        ucl=row["ucl"],
        phase=row["phase"],
        state=row["state"],
        rules=tuple(row["rules"] or ()),
        criteria_id=row["criteria_id"],
        baseline_id=row["baseline_id"],
        equipment_from=row["equipment_from"],
        target=row["target"],
        target_verdict=row["target_verdict"],
    )


def _finding(
    points: tuple[ChartPoint, ...],
    signal: pl.DataFrame,
    *,
    measure: Measure,
    last_month: date,
) -> str:
    """The chart's title: what is so in the last month, from its figures."""
    title, noun = measure.title, counted_noun(measure)
    last = [point for point in points if point.month == last_month]
    if not last:
        return f"{title}: no {noun}s in {month_name(last_month)}"
    point = max(last, key=lambda item: item.n)
    expected = f"{words.percent(point.centre)} expected"
    if signal.height:
        row = signal.row(0, named=True)
        since = month_name(row["since_month"])
        return (
            f"{title}: {words.percent(row['value'])} since {since}, "
            f"{words.percent(row['centre'])} expected{off_target(point)}"
        )
    if point.value is None or point.state == PointState.FEW:
        return f"{title}: too few {noun}s for a verdict ({words.whole(point.n)}){pooled(points)}"
    if point.centre is None:
        return f"{title}: {words.percent(point.value)}, no baseline yet"
    if point.phase == "baseline":
        return f"{title}: {words.percent(point.value)}, the baseline is still being set"
    if point.state == PointState.LOOK:
        return f"{title}: {words.percent(point.value)}, {expected}{off_target(point)}"
    if point.state == PointState.WATCH:
        return f"{title}: {words.percent(point.value)}, to watch, {expected}{off_target(point)}"
    if point.target_verdict == TargetVerdict.STEADY_OFF:
        return (
            f"{title}: in control but off target, {words.percent(point.value)} with {expected}, "
            f"target {words.percent(point.target)}"
        )
    return f"{title}: steady, {words.percent(point.value)} with {expected}"


def _patients_text(rows: pl.DataFrame) -> str:
    """That the centre line follows the patients, and by which model."""
    models = rows["model_id"].drop_nulls()
    if models.is_empty():
        return ""
    return f"Centre line and limits follow the patients of each month (model {models[-1]})."


def _criteria_breaks(points: tuple[ChartPoint, ...]) -> tuple[date, ...]:
    """Months from which another criteria set judges; lines are not joined across them."""
    return tuple(
        later.month
        for earlier, later in pairwise(points)
        if earlier.criteria_id != later.criteria_id
    )
