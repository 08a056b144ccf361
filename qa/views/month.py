"""What needs me now? The network's month: worklist, sites × measures, small multiples."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date

import polars as pl

from qa.charts.budget import count_list
from qa.model.definitions import Measure
from qa.model.months import month_name
from qa.model.published import Published
from qa.model.words import PointState, UnitKind
from qa.views import words
from qa.views.arrivals import Arrival, arrivals
from qa.views.chart import chart_frames, chart_view, cut_chart
from qa.views.false_share import FalseShareView, false_share_view
from qa.views.heat import HeatRow, heat_rows
from qa.views.month_review import MonthReviewView
from qa.views.names import NETWORK_ID
from qa.views.scope import charted_measures, criteria_of_month, month_points
from qa.views.shown import ChartView
from qa.views.worklist import WorkItem, work_items

CHARTED_ITEMS = 6
MonthReviewOf = Callable[[Sequence[WorkItem]], MonthReviewView]
"""The month's items → how far their review has come."""


@dataclass(frozen=True)
class MonthView:
    """The network's month.

    items: in order of exams at stake; the first CHARTED_ITEMS carry their chart.
    heat: sites × watched measures. multiples: one chart a site for one measure, same scale.
    by_false_share: another list, where it was asked for.
    review: what was decided; None where decisions are not kept.
    """

    month: date
    month_text: str
    answer: str
    subline: str
    items: tuple[WorkItem, ...]
    heat: tuple[HeatRow, ...]
    measures: tuple[Measure, ...]
    multiples: tuple[ChartView, ...]
    multiples_measure: Measure
    arrivals: tuple[Arrival, ...]
    budget_text: str
    calm_text: str
    n_exams: int
    criteria_id: str | None
    by_false_share: FalseShareView | None
    review: MonthReviewView | None = None


def month_view(
    published: Published,
    *,
    month: date,
    measure_id: str | None = None,
    months: int = 24,
    by_false_share: bool = False,
    review: MonthReviewOf | None = None,
) -> MonthView:
    """The Month screen.

    Args:
        measure_id: measure of the small multiples; None: that of the first item.
        months: length of the charts, the month included.
        by_false_share: adds the month's charts by false discovery rate.
        review: items → how far the month's review has come; None: decisions are not kept.
    """
    counts = published.frame("monthly_counts", month=month)
    watched = [
        item for item in charted_measures(published.definitions, UnitKind.SITE) if item.is_watched
    ]
    items = work_items(published, published.frame("signals", month=month))
    heat = _heat(published, month, counts, watched)
    measure = _measure_of_multiples(published, measure_id, items, watched)
    reviewed = review(items) if review else None
    return MonthView(
        month=month,
        month_text=month_name(month),
        answer=_answer(month, items, heat, reviewed),
        subline=_subline(published, counts, month, heat),
        items=_with_charts(published, items, month, months),
        heat=heat,
        measures=tuple(watched),
        multiples=_multiples(published, measure.id, month, months),
        multiples_measure=measure,
        arrivals=arrivals(published, month=month),
        budget_text=_budget_text(published, month),
        calm_text=_calm_text(month, items, heat),
        n_exams=int(counts["n_judged"].sum()),
        criteria_id=criteria_of_month(published.network, month),
        by_false_share=false_share_view(published, month=month, items=items)
        if by_false_share
        else None,
        review=reviewed,
    )


def _budget_text(published: Published, month: date) -> str:
    """How many new items chance alone gives, beside how many are new.

    Example: 'New this month: two. By chance alone about 1.0 new items a month are expected over
    456 charts; the network's budget is 1.0.'
    """
    settings = published.network.settings
    found = count_list(
        published.frame("chart_points", month=month),
        published.frame("signals", month=month),
        month=month,
        measures=list(published.definitions.measures.values()),
        settings=settings,
    )
    return (
        f"New this month: {words.number_word(found.n_new)}. By chance alone about "
        f"{words.number(found.n_expected)} new items a month are expected over "
        f"{words.counted(found.n_charts, 'chart')}; the network's budget is "
        f"{words.number(settings.false_items_per_month)}."
    )


def _measure_of_multiples(
    published: Published,
    measure_id: str | None,
    items: tuple[WorkItem, ...],
    watched: list[Measure],
) -> Measure:
    chosen = measure_id or next((item.measure_id for item in items), watched[0].id)
    return published.definitions.measures[chosen]


def _heat(
    published: Published, month: date, counts: pl.DataFrame, measures: list[Measure]
) -> tuple[HeatRow, ...]:
    return heat_rows(
        month_points(published, month, unit_kind=UnitKind.SITE),
        units=[(site.id, site.name) for site in published.network.sites],
        measures=measures,
        n_exams=dict(counts.group_by("site_id").agg(pl.col("n_exams").sum()).iter_rows()),
    )


def _answer(
    month: date,
    items: tuple[WorkItem, ...],
    heat: tuple[HeatRow, ...],
    review: MonthReviewView | None,
) -> str:
    """Example: 'Three things need you in October 2026; nothing new at nine of twelve sites. One
    site has not sent its exams.'
    """
    sent = [row for row in heat if row.state != PointState.LATE.value]
    new_at = _new_at(month, items)
    calm = _calm(month, items, heat)
    nothing_new = f"nothing new at {words.share_of(len(calm), len(heat), 'site')}"
    if not calm:
        nothing_new = f"something new at {words.share_of(len(new_at), len(heat), 'site')}"
    first = words.as_sentence(f"{_needs(month, items, review)}; {nothing_new}")
    n_late = len(heat) - len(sent)
    if not n_late:
        return first
    late = words.counted_word(n_late, "site")
    its = "its" if n_late == 1 else "their"
    return f"{first} {words.as_sentence(f'{late} {_has(n_late)} not sent {its} exams')}"


def _new_at(month: date, items: tuple[WorkItem, ...]) -> set[str | None]:
    return {item.site_id for item in items if item.opened == month}


def _calm(month: date, items: tuple[WorkItem, ...], heat: tuple[HeatRow, ...]) -> list[HeatRow]:
    """Sites that have sent their exams and have no item that is new this month."""
    new_at = _new_at(month, items)
    return [row for row in heat if row.state != PointState.LATE.value and row.unit_id not in new_at]


def _calm_text(month: date, items: tuple[WorkItem, ...], heat: tuple[HeatRow, ...]) -> str:
    """Example: 'Nothing new at Alder Sound and Cowrie Bay.' Empty where there is no such site."""
    names = [row.name for row in _calm(month, items, heat)]
    return f"Nothing new at {words.listed(names)}." if names else ""


def _needs(month: date, items: tuple[WorkItem, ...], review: MonthReviewView | None) -> str:
    when = month_name(month)
    n_left = len(review.left) if review else len(items)
    if not items:
        return f"nothing needs you in {when}"
    if not n_left:
        return f"everything of {when} is decided"
    needs = "needs" if n_left == 1 else "need"
    if n_left == len(items):
        return f"{words.counted_word(n_left, 'thing')} {needs} you in {when}"
    of_all = f"{words.number_word(n_left)} of {words.counted_word(len(items), 'thing')}"
    return f"{of_all} still {needs} you in {when}"


def _steady(heat: tuple[HeatRow, ...]) -> list[str]:
    """Example: ['five of twelve sites steady', 'one with too few exams for a verdict']"""
    states = [row.state for row in heat]
    n_steady, n_few = (states.count(one.value) for one in (PointState.STEADY, PointState.FEW))
    parts = [f"{words.share_of(n_steady, len(heat), 'site')} steady"]
    if n_few:
        parts.append(f"{words.number_word(n_few)} with too few exams for a verdict")
    return parts


def _has(n: int) -> str:
    return "has" if n == 1 else "have"


def _subline(
    published: Published, counts: pl.DataFrame, month: date, heat: tuple[HeatRow, ...]
) -> str:
    parts = [f"{words.counted(int(counts['n_judged'].sum()), 'exam')} judged"]
    criteria = published.definitions.criteria.get(criteria_of_month(published.network, month) or "")
    if criteria:
        parts[0] += f" under {criteria.title}, version {criteria.version}"
    reliable = _network_row(published, month, key="reliable")
    if reliable:
        ends = (reliable["value"], reliable["lower"], reliable["upper"])
        parts.append(words.percent_with_interval(*ends).replace(" % (", " % reliable ("))
    parts += _steady(heat)
    if published.network.is_invented:
        parts.append("invented demo data")
    return " · ".join(parts)


def _network_row(published: Published, month: date, *, key: str) -> dict | None:
    points = month_points(published, month, unit_kind=UnitKind.NETWORK)
    measure = published.definitions.measure_by_key(key)
    rows = points.filter(pl.col("unit_id") == NETWORK_ID, pl.col("measure_id") == measure.id)
    return rows.row(0, named=True) if rows.height else None


def _with_charts(
    published: Published, items: tuple[WorkItem, ...], month: date, months: int
) -> tuple[WorkItem, ...]:
    charted = tuple(
        replace(
            item,
            chart=chart_view(
                published,
                unit_kind=item.chart_unit[0],
                unit_id=item.chart_unit[1],
                measure_id=item.measure_id,
                last_month=month,
                months=months,
            ),
        )
        for item in items[:CHARTED_ITEMS]
    )
    return charted + items[CHARTED_ITEMS:]


def _multiples(
    published: Published, measure_id: str, month: date, months: int
) -> tuple[ChartView, ...]:
    frames = chart_frames(published, unit_kind=UnitKind.SITE.value, measure_id=measure_id)
    return tuple(
        cut_chart(
            frames,
            published=published,
            unit_kind=UnitKind.SITE,
            unit_id=site.id,
            measure_id=measure_id,
            last_month=month,
            months=months,
        )
        for site in published.network.sites
    )
