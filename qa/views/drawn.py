"""One series drawn as the chart that fits it, or as another that is asked for."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import exp, isfinite

import numpy as np
import polars as pl

from qa.charts.choose import ChosenChart, choose_chart
from qa.charts.continuous import CONTINUOUS_MEASURES, ContinuousMeasure
from qa.charts.draw import draw_series, is_monthly
from qa.charts.kinds import CHART_KINDS, ChartKind, Quantity
from qa.charts.months_of import SeriesMonths, series_months
from qa.charts.sequence import BetweenEvents, days_between, exams_between
from qa.counts import count_each
from qa.measures import counted_noun, is_of_rows
from qa.model.definitions import Measure
from qa.model.months import add_months
from qa.model.published import Published
from qa.views import words
from qa.views.drawn_exams import ExamChart, exam_chart, exam_kinds
from qa.views.drawn_point import DrawnPoint, points_of_days
from qa.views.modes import mixed_text
from qa.views.names import unit_name

UNITS: dict[str, str] = {
    "np": "exams",
    "u": "per exam",
    "u-prime": "per exam",
    "c": "measurements",
    "cusum": "evidence",
    "ra-cusum": "evidence",
    "vlad": "exams",
    "learning": "evidence",
    "g": "exams between",
    "t": "days between",
}


CONTINUOUS_IDS: tuple[str, ...] = tuple(CONTINUOUS_MEASURES)


def find_kind(code: str) -> ChartKind | None:
    """The kind of chart with this code; None where there is none."""
    return CHART_KINDS.get(code)


@dataclass(frozen=True)
class DrawnView:
    """A chart with why it was chosen, and what else it can be drawn as.

    Args:
        unit: "%" (values are shares), or a word.
        options: (code, title, is it drawn, is it the one that fits).
        arl_text: how often it calls by chance, as published.
        about: what a continuous measure is and what moves it; of a success rate, exams of other
            acquisition modes that are left out; "" for any other measure.
        noun: what n counts, one of them.
    """

    title: str
    kind: ChartKind
    unit: str
    reason: str
    warning: str
    arl_text: str
    points: tuple[DrawnPoint, ...]
    options: tuple[tuple[str, str, bool, bool], ...]
    about: str
    noun: str = "exam"


def drawn_view(
    published: Published,
    *,
    unit_kind: str,
    unit_id: str,
    series_id: str,
    kind: str | None,
    last_month: date,
    months: int = 24,
) -> DrawnView:
    """Draw a measure or continuous measure of one unit.

    Args:
        series_id: id of a measure, or of CONTINUOUS_MEASURES.
        kind: code of CHART_KINDS; None or one that does not fit: the chosen one.
        months: length of what is shown; limits come from the baseline wherever it lies.
    Raises: KeyError: an unknown series (pages check first).
    """
    continuous = CONTINUOUS_MEASURES.get(series_id)
    measure = None if continuous else published.definitions.measures[series_id]
    is_rows = measure is not None and is_of_rows(measure)
    counts = _counts_of(published, unit_kind, unit_id, last_month, is_rows=is_rows)
    baseline = _baseline(published, unit_kind, unit_id, measure, counts)
    series = _series(counts, measure, continuous, baseline)
    chosen = choose_chart(series)
    if is_rows:
        chosen = _monthly_only(chosen, series)
    elif measure is not None:
        more = exam_kinds(published, unit_kind=unit_kind, unit_id=unit_id, measure=measure)
        chosen = replace(chosen, others=(*chosen.others, *more))
    shown = CHART_KINDS[kind] if kind in {one.code for one in chosen.others} else chosen.kind
    is_log = continuous is not None and continuous.is_log
    if measure is not None and not shown.quantities:
        found = exam_chart(
            published,
            unit_kind=unit_kind,
            unit_id=unit_id,
            measure=measure,
            kind=shown.code,
            last_month=last_month,
        )
        points, chosen = points_of_days(found.points), _told(chosen, found)
    elif is_monthly(shown.code, series.quantity):
        points = _monthly_points(series, shown.code, is_log=is_log and shown.code != "s")
    else:
        assert measure is not None  # only shares are drawn event by event
        points = _event_points(published, unit_kind, unit_id, measure, shown.code, baseline)
    first = add_months(last_month, 1 - months)
    mixed = (
        mixed_text(published, measure, unit_kind, unit_id, months=(first, last_month))
        if measure
        else ""
    )
    title = continuous.title if continuous else measure.title  # type: ignore[union-attr]
    view = DrawnView(
        title=f"{unit_name(published.network, unit_kind, unit_id)}: {title}",
        kind=shown,
        unit=_unit(shown.code, is_log=is_log),
        reason=chosen.reason,
        warning=chosen.warning,
        arl_text=_arl_text(shown, chosen),
        points=tuple(one for one in points if first <= one.day < add_months(last_month, 1)),
        options=tuple(
            (one.code, one.title, one is shown, one is chosen.kind)
            for one in (chosen.kind, *chosen.others)
        ),
        about=f"{continuous.sentence} What moves it: {continuous.cause}." if continuous else mixed,
    )
    return _worded(view, counted_noun(measure)) if measure else view


def _worded(view: DrawnView, noun: str) -> DrawnView:
    """Sentences and units of charts speak of exams; a measure of rows says rows."""
    if noun == "exam":
        return view

    def worded(text: str) -> str:
        return text.replace("exams", f"{noun}s").replace("Exams", f"{noun.capitalize()}s")

    kind = replace(view.kind, sentence=worded(view.kind.sentence))
    unit, reason = worded(view.unit), worded(view.reason)
    return replace(view, kind=kind, unit=unit, reason=reason, noun=noun)


def _told(chosen: ChosenChart, found: ExamChart) -> ChosenChart:
    return replace(chosen, reason=found.reason, warning=found.warning)


def _monthly_only(chosen: ChosenChart, series: SeriesMonths) -> ChosenChart:
    """Rows of files have no order of their own, so they are drawn by month only."""
    kinds = [one for one in (chosen.kind, *chosen.others) if is_monthly(one.code, series.quantity)]
    kind = chosen.kind if chosen.kind in kinds else CHART_KINDS["p"]
    reason = chosen.reason if kind is chosen.kind else "Rows of files are counted by month only."
    others = tuple(one for one in kinds if one is not kind)
    return replace(chosen, kind=kind, reason=reason, others=others)


def _counts_of(
    published: Published, unit_kind: str, unit_id: str, last_month: date, *, is_rows: bool
) -> pl.DataFrame:
    """Monthly counts of the unit under the criteria set that judged its newest month."""
    place = {} if unit_kind == "network" else {f"{unit_kind}_id": unit_id}
    name = "row_counts" if is_rows else "monthly_counts"
    counts = published.frame(name, **place).filter(pl.col("month") <= last_month)
    newest = counts.sort("month", "criteria_id").tail(1)
    return counts.join(newest.select("criteria_id"), on="criteria_id", how="semi")


def _baseline(
    published: Published,
    unit_kind: str,
    unit_id: str,
    measure: Measure | None,
    counts: pl.DataFrame,
) -> tuple[date, date] | None:
    """The unit's frozen months; those of its first measure where the series has none itself."""
    rows = published.frame("baselines", unit_kind=unit_kind, unit_id=unit_id).join(
        counts.select("criteria_id").unique(), on="criteria_id", how="semi"
    )
    if measure is not None:
        rows = rows.filter(pl.col("measure_id") == measure.id)
    if rows.is_empty():
        return None
    row = rows.sort("measure_id", "set_at").group_by("measure_id", maintain_order=True).last()
    return row["from_month"][0], row["to_month"][0]


def _series(
    counts: pl.DataFrame,
    measure: Measure | None,
    continuous: ContinuousMeasure | None,
    baseline: tuple[date, date] | None,
) -> SeriesMonths:
    if continuous is not None:
        months = continuous.months(counts)
        return series_months(months, quantity=continuous.quantity, baseline=baseline)
    assert measure is not None
    months = counts.group_by("month").agg(
        n=pl.sum_horizontal(pl.col(*measure.denominator).sum()),
        total=pl.sum_horizontal(pl.col(*measure.numerator).sum()),
    )
    return series_months(months, quantity=Quantity.SHARE, baseline=baseline)


def _monthly_points(series: SeriesMonths, kind: str, *, is_log: bool) -> list[DrawnPoint]:
    drawn = draw_series(series, kind)

    def number(values: np.ndarray, place: int) -> float | None:
        value = float(values[place])
        if not isfinite(value):
            return None
        return exp(value) if is_log else value

    return [
        DrawnPoint(
            day=month,
            n=int(series.n[place]),
            value=number(drawn.value, place),
            second=number(drawn.second, place),
            centre=number(drawn.centre, place),
            lcl=number(drawn.lcl, place),
            ucl=number(drawn.ucl, place),
            is_outside=bool(drawn.is_outside[place] and not series.is_baseline[place]),
            is_baseline=bool(series.is_baseline[place]),
        )
        for place, month in enumerate(series.months)
    ]


def _event_points(
    published: Published,
    unit_kind: str,
    unit_id: str,
    measure: Measure,
    kind: str,
    baseline: tuple[date, date] | None,
) -> list[DrawnPoint]:
    place = {} if unit_kind == "network" else {f"{unit_kind}_id": unit_id}
    exams = published.frame("exams", **place).sort("exam_at", "exam_key")
    columns = [*measure.numerator, *measure.denominator]
    each = count_each(exams, columns).join(exams.select("exam_key", "exam_on"), on="exam_key")
    each = each.filter(pl.sum_horizontal(*set(measure.denominator)) > 0)
    events = each.select(pl.sum_horizontal(*set(measure.numerator)) > 0).to_series().to_numpy()
    days: Sequence[date] = each["exam_on"].to_list()
    span = (baseline[0], add_months(baseline[1], 1)) if baseline else None
    find = exams_between if kind == "g" else days_between
    return _between_points(find(days, events, baseline=span))


def _between_points(found: BetweenEvents) -> list[DrawnPoint]:
    limits = [one if isfinite(one) else None for one in (found.centre, found.lcl, found.ucl)]
    return [
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
    ]


def _unit(kind: str, *, is_log: bool) -> str:
    if kind == "s" and is_log:
        return "of logarithms"
    return "%" if is_log else UNITS.get(kind, "%")


def _arl_text(shown: ChartKind, chosen: ChosenChart) -> str:
    if shown.arl is None:
        return "How often it calls by chance depends on the counts."
    often = f"By chance it calls once in {words.whole(shown.arl)} months"
    if shown.code in ("p", "np") and not chosen.expected >= 5:
        often = f"By chance it calls at most once in {words.whole(shown.arl)} months"
    return f"{often} if the baseline is known well, more often if it is short."
