"""Who needs what? Operators compared in a funnel, and one operator's own charts."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from qa.model.definitions import Measure, Network
from qa.model.months import month_name
from qa.model.published import Published
from qa.model.words import Better, PointState, UnitKind
from qa.views import words
from qa.views.apart import operator_apart_text
from qa.views.chart import chart_frames, cut_chart
from qa.views.funnel import funnel_view
from qa.views.names import short_operator_name
from qa.views.needs import Need, service_needs, training_needs
from qa.views.scope import charted_measures
from qa.views.shown import ChartView, FunnelDot, FunnelView
from qa.views.worklist import WorkItem, work_items

URGENT = (PointState.LOOK.value, PointState.WATCH.value, PointState.STEADY.value)


@dataclass(frozen=True)
class OperatorRow:
    """One operator over the funnel's period.

    Args:
        expected: events expected of the operator's patients, or at the network's share.
        ratio_text: found over expected with its interval. shrunken_text: adjusted share drawn to
            the mean, the less exams the more.
    """

    operator_id: str
    name: str
    site_id: str | None
    site_name: str
    n: int
    n_events: int
    value: float | None
    lower: float | None
    upper: float | None
    expected: float | None
    ratio_text: str
    shrunken_text: str
    state: str


@dataclass(frozen=True)
class OperatorView:
    """One operator's own charts and what the month's signals say about them."""

    operator_id: str
    name: str
    site_id: str | None
    site_name: str
    answer: str
    items: tuple[WorkItem, ...]
    charts: tuple[ChartView, ...]


@dataclass(frozen=True)
class OperatorsView:
    """The Operators screen.

    Args:
        needs: who needs what, by exams at stake, then thin practice.
        apart_text: of one operator: what of person and place can be told apart.
    """

    month: date
    month_text: str
    answer: str
    subline: str
    measure: Measure
    measures: tuple[Measure, ...]
    funnel: FunnelView
    rows: tuple[OperatorRow, ...]
    needs: tuple[Need, ...]
    devices: tuple[Need, ...]
    person: OperatorView | None
    apart_text: str = ""


def operators_view(
    published: Published,
    *,
    month: date,
    measure_id: str | None = None,
    site_id: str | None = None,
    operator_id: str | None = None,
    months: int = 24,
) -> OperatorsView:
    """Operators in the period that ends with the month.

    Args:
        measure_id: None: that of the operator's first item, else the first watched measure.
        site_id: lists and marks this site's operators; the others stay in the funnel.
        operator_id: adds this operator's charts.
    """
    measures = charted_measures(published.definitions, UnitKind.OPERATOR)
    items = work_items(published, published.frame("signals", month=month))
    wanted = measure_id or _first_of(items, operator_id)
    measure = next(item for item in measures if (item.id == wanted if wanted else item.is_watched))
    funnel = funnel_view(
        published,
        unit_kind=UnitKind.OPERATOR,
        measure=measure,
        month=month,
        own_id=operator_id,
        own_site_id=site_id,
    )
    needs = training_needs(published, items, month=month, site_id=site_id)
    rows = _rows(published, funnel, site_id, better=measure.better)
    return OperatorsView(
        month=month,
        month_text=month_name(month),
        answer=_answer(
            month, [need for need in needs if need.at_stake], {row.operator_id for row in rows}
        ),
        subline=f"{funnel.finding} {funnel.period_text}",
        measure=measure,
        measures=tuple(measures),
        funnel=funnel,
        rows=rows,
        needs=needs,
        devices=service_needs(published, items, month=month, site_id=site_id),
        person=operator_view(published, operator_id=operator_id, month=month, months=months)
        if operator_id
        else None,
        apart_text=operator_apart_text(
            published, operator_id=operator_id, measure=measure, month=month
        )
        if operator_id
        else "",
    )


def _first_of(items: Sequence[WorkItem], operator_id: str | None) -> str | None:
    """The measure of an operator's first item."""
    own = (item for item in items if operator_id and item.unit_id == operator_id)
    return next((item.measure_id for item in own if item.unit_kind == UnitKind.OPERATOR), None)


def _answer(month: date, needs: Sequence[Need], operators: set[str]) -> str:
    people = {need.unit_id for need in needs}
    when = month_name(month)
    if not people:
        return words.as_sentence(f"no operator needs you in {when}")
    verb = "needs" if len(people) == 1 else "need"
    total = len(operators | people)
    return words.as_sentence(
        f"{words.share_of(len(people), total, 'operator')} {verb} something in {when}"
    )


def _rows(
    published: Published, funnel: FunnelView, site_id: str | None, *, better: str
) -> tuple[OperatorRow, ...]:
    names = {site.id: site.name for site in published.network.sites}
    rows = [
        OperatorRow(
            operator_id=dot.unit_id,
            name=short_operator_name(published.network, dot.unit_id),
            site_id=dot.site_id,
            site_name=names.get(dot.site_id or "", dot.site_id or ""),
            n=dot.n,
            n_events=dot.n_events,
            value=dot.value,
            lower=dot.lower,
            upper=dot.upper,
            expected=_expected(dot, funnel.centre),
            ratio_text=dot.ratio_text,
            shrunken_text=dot.shrunken_text,
            state=dot.state,
        )
        for dot in funnel.dots
        if not site_id or dot.site_id == site_id
    ]
    return tuple(sorted(rows, key=lambda row: _urgency(row, better)))


def _expected(dot: FunnelDot, centre: float | None) -> float | None:
    if dot.expected is not None or centre is None:
        return dot.expected
    return dot.n * centre


def _urgency(row: OperatorRow, better: str) -> tuple[Any, ...]:
    """State first, then the exams beyond what is expected, in the bad direction."""
    rank = URGENT.index(row.state) if row.state in URGENT else len(URGENT)
    excess = row.n_events - row.expected if row.expected is not None else 0.0
    bad = {Better.LOWER: excess, Better.HIGHER: -excess}.get(Better(better), abs(excess))
    return rank, -bad, row.operator_id


def operator_view(
    published: Published, *, operator_id: str, month: date, months: int = 24
) -> OperatorView:
    """One operator: watched measures as charts, and the month's signals."""
    network = published.network
    person = network.operator(operator_id)
    items = work_items(
        published,
        published.frame(
            "signals", month=month, unit_kind=UnitKind.OPERATOR.value, unit_id=operator_id
        ),
    )
    charts = _operator_charts(published, operator_id, month, months)
    name = short_operator_name(network, operator_id)
    return OperatorView(
        operator_id=operator_id,
        name=name,
        site_id=person.site if person else None,
        site_name=_home(network, operator_id),
        answer=_person_answer(name, month, items, charts),
        items=items,
        charts=charts,
    )


def _home(network: Network, operator_id: str) -> str:
    person = network.operator(operator_id)
    site = network.site(person.site) if person else None
    return site.name if site else ""


def _person_answer(
    name: str, month: date, items: tuple[WorkItem, ...], charts: tuple[ChartView, ...]
) -> str:
    n = max(
        (
            chart.points[-1].n
            for chart in charts
            if chart.points and chart.points[-1].month == month
        ),
        default=0,
    )
    when = month_name(month)
    head = f"{name}: {words.counted(n, 'exam')} in {when}"
    if not n:
        return f"{name} did no exams in {when}."
    if not items:
        return f"{head}, nothing that needs attention."
    found = words.listed([words.lower_first(item.measure_title) for item in items])
    return f"{head}; to look at: {found}."


def _operator_charts(
    published: Published, operator_id: str, month: date, months: int
) -> tuple[ChartView, ...]:
    kind = UnitKind.OPERATOR
    frames = chart_frames(published, unit_kind=kind.value, unit_id=operator_id)
    return tuple(
        cut_chart(
            frames,
            published=published,
            unit_kind=kind,
            unit_id=operator_id,
            measure_id=measure.id,
            last_month=month,
            months=months,
        )
        for measure in charted_measures(published.definitions, kind)
        if measure.is_watched
    )
