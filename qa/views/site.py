"""How is this site doing in this month? Read by the Site screen and the site pack."""

from dataclasses import dataclass
from datetime import date

import polars as pl

from qa.model.definitions import Measure
from qa.model.months import month_name
from qa.model.published import Published
from qa.model.words import PointState, UnitKind
from qa.views import words
from qa.views.apart import site_apart_text
from qa.views.chart import chart_frames, cut_chart
from qa.views.devices import DeviceRow, site_devices
from qa.views.exams import ExamRow, exams_to_look_at
from qa.views.heat import HeatRow, heat_rows
from qa.views.names import NETWORK_ID, short_operator_name, site_name
from qa.views.scope import charted_measures, criteria_of_month, month_points
from qa.views.shown import ChartView, Figure
from qa.views.worklist import WorkItem, work_items

SUMMARY_KEYS = ("reliable", "unreliable", "failed", "repeats", "preparation_recorded")
FIRST_EXAMS = 15


@dataclass(frozen=True)
class SiteView:
    """One site's month.

    state: ok, few (too few exams for a verdict on any watched measure) or late (no exams).
    figures: exams judged, then one for each of SUMMARY_KEYS that is defined.
    charts: one for each charted measure, grade mixes last, with points up to the month.
    apart_text: where one person did nearly all exams of the funnel's months, that it is so.
    operators: operators with exams in the month × watched measures, most urgent first.
    devices: devices with exams in the last twelve months.
    """

    site_id: str
    site_name: str
    month: date
    month_text: str
    state: str
    answer: str
    subline: str
    figures: tuple[Figure, ...]
    items: tuple[WorkItem, ...]
    charts: tuple[ChartView, ...]
    operators: tuple[HeatRow, ...]
    operator_measures: tuple[Measure, ...]
    devices: tuple[DeviceRow, ...]
    exams: tuple[ExamRow, ...]
    n_exams: int
    criteria_id: str | None
    apart_text: str = ""

    @property
    def counting(self) -> tuple[ChartView, ...]:
        """Charts of measures that count something here; of a site without exams, all."""
        return tuple(chart for chart in self.charts if chart.points) or self.charts


def site_view(published: Published, *, site_id: str, month: date, months: int = 24) -> SiteView:
    """A site's month: answer, figures, items, charts, operators, exams to look at.

    Args: months: length of the charts, the month included.
    Returns: the view; with state "late" and empty tables where the site has no exams then.
    """
    name = site_name(published.network, site_id)
    counts = published.frame("monthly_counts", site_id=site_id, month=month)
    n_exams = int(counts["n_judged"].sum())
    points = month_points(published, month, unit_kind=UnitKind.SITE)
    own = points.filter(pl.col("unit_id") == site_id)
    watched = [
        item for item in charted_measures(published.definitions, UnitKind.SITE) if item.is_watched
    ]
    states = dict(own.select("measure_id", "state").iter_rows())
    items = _items(published, site_id, month)
    state = _state(counts, [states.get(item.id, PointState.FEW.value) for item in watched])
    return SiteView(
        site_id=site_id,
        site_name=name,
        month=month,
        month_text=month_name(month),
        state=state,
        answer=_answer(
            name, month, state=state, items=items, n_exams=n_exams, own=own, watched=watched
        ),
        subline=_subline(published, counts, month),
        figures=site_figures(published, own, month, counts=counts),
        items=items,
        charts=_charts(published, site_id, month, months),
        operators=_operators(published, site_id, month, counts, watched),
        operator_measures=tuple(watched),
        devices=site_devices(published, items, site_id=site_id, month=month),
        exams=exams_to_look_at(published, published.frame("exams", site_id=site_id, month=month)),
        n_exams=n_exams,
        criteria_id=criteria_of_month(published.network, month),
        apart_text=site_apart_text(published, site_id=site_id, month=month),
    )


def _state(counts: pl.DataFrame, states: list[str]) -> str:
    if counts.is_empty():
        return PointState.LATE.value
    return PointState.FEW.value if states and set(states) == {PointState.FEW.value} else "ok"


def _answer(
    name: str,
    month: date,
    *,
    state: str,
    items: tuple[WorkItem, ...],
    n_exams: int,
    own: pl.DataFrame,
    watched: list[Measure],
) -> str:
    when = month_name(month)
    if state == PointState.LATE:
        return f"{name} has sent no exams of {when} yet."
    if state == PointState.FEW:
        return f"{name}: {words.counted(n_exams, 'exam')} in {when}, too few for a verdict."
    steady = own.filter(
        pl.col("measure_id").is_in([item.id for item in watched]),
        pl.col("state") == PointState.STEADY.value,
    ).height
    rest = f"{words.share_of(steady, len(watched), 'watched measure')} steady"
    if not items:
        return f"Nothing signals at {name} in {when}: {rest}."
    needs = "needs" if len(items) == 1 else "need"
    what = words.counted_word(len(items), "thing")
    return words.as_sentence(f"{what} {needs} attention at {name} in {when}; {rest}")


def _subline(published: Published, counts: pl.DataFrame, month: date) -> str:
    judged = int(counts["n_judged"].sum())
    performed = int(counts["n_performed"].sum())
    not_started = int(counts["n_exams"].sum()) - performed
    parts = [f"{words.counted(judged, 'exam')} judged"]
    if performed > judged:
        parts.append(f"{words.whole(performed - judged)} not judged, a figure was not sent")
    if not_started:
        parts.append(f"{words.whole(not_started)} not started")
    criteria = published.definitions.criteria.get(criteria_of_month(published.network, month) or "")
    if criteria:
        parts.append(f"under {criteria.title}, version {criteria.version}")
    if published.network.is_invented:
        parts.append("invented demo data")
    return " · ".join(parts)


def site_figures(
    published: Published, own: pl.DataFrame, month: date, *, counts: pl.DataFrame
) -> tuple[Figure, ...]:
    """Exams judged, then the summary measures with interval, n and the network's figure.

    Args: own: the site's CHART_POINTS of the month. counts: its MONTHLY_COUNTS of the month.
    """
    judged = int(counts["n_judged"].sum())
    network = month_points(published, month, unit_kind=UnitKind.NETWORK).filter(
        pl.col("unit_id") == NETWORK_ID
    )
    all_values = dict(network.select("measure_id", "value").iter_rows())
    rows = {row["measure_id"]: row for row in own.iter_rows(named=True)}
    figures = [Figure("n_judged", "exams judged", words.whole(judged), float(judged), judged)]
    for measure in charted_measures(published.definitions, UnitKind.SITE):
        if measure.key not in SUMMARY_KEYS:
            continue
        row = rows.get(measure.id)
        figures.append(
            Figure(
                name=measure.key,
                label=words.lower_first(measure.title),
                text=words.percent(row["value"] if row else None),
                value=row["value"] if row else None,
                n=row["n"] if row else 0,
                interval_text=words.interval(row["lower"], row["upper"]) if row else "",
                measure_id=measure.id,
                beside=f"network {words.percent(all_values.get(measure.id))}",
            )
        )
    order = ("n_judged", *SUMMARY_KEYS)
    return tuple(sorted(figures, key=lambda figure: order.index(figure.name)))


def _items(published: Published, site_id: str, month: date) -> tuple[WorkItem, ...]:
    """Signals of the site and of its operators."""
    signals = published.frame("signals", month=month).filter(
        (pl.col("site_id") == site_id)
        | ((pl.col("unit_kind") == UnitKind.SITE.value) & (pl.col("unit_id") == site_id))
    )
    return work_items(published, signals)


def _charts(published: Published, site_id: str, month: date, months: int) -> tuple[ChartView, ...]:
    frames = chart_frames(published, unit_kind=UnitKind.SITE.value, unit_id=site_id)
    return tuple(
        cut_chart(
            frames,
            published=published,
            unit_kind=UnitKind.SITE,
            unit_id=site_id,
            measure_id=measure.id,
            last_month=month,
            months=months,
        )
        for measure in charted_measures(published.definitions, UnitKind.SITE)
    )


def _operators(
    published: Published,
    site_id: str,
    month: date,
    counts: pl.DataFrame,
    measures: list[Measure],
) -> tuple[HeatRow, ...]:
    n_exams = dict(counts.group_by("operator_id").agg(pl.col("n_judged").sum()).iter_rows())
    points = month_points(published, month, unit_kind=UnitKind.OPERATOR)
    names = [
        (operator_id, short_operator_name(published.network, operator_id))
        for operator_id in sorted(n_exams)
    ]
    rows = heat_rows(
        points.filter(pl.col("unit_id").is_in([unit_id for unit_id, _ in names])),
        units=names,
        measures=measures,
        n_exams=n_exams,
    )
    order = [state.value for state in PointState]
    return tuple(
        sorted(rows, key=lambda row: order.index(row.state) if row.state in order else len(order))
    )
