"""Has the mix moved? Distributions over the bands of one grade table, by site and over time.

Bands are bins for comparing sites; every view carries its table's id, source and confidence.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import polars as pl

from qa.drift.moved import compare_units
from qa.model.definitions import GRADE_CAUTION, GradeTable
from qa.model.months import add_months, month_name, short_month_name
from qa.model.published import Published
from qa.model.words import PointState, UnitKind
from qa.views import words
from qa.views.chart import chart_view
from qa.views.explain import explain_view
from qa.views.grade_bars import grade_bar
from qa.views.grade_detail import GradeDetail, grade_detail
from qa.views.names import NETWORK_ID, unit_names
from qa.views.scope import month_points
from qa.views.shown import ChartView, GradeBar

QUARTERS = 8
MOST_EXPLAINED = 4
"""So many sites that moved are explained at once; the others on their own screen."""
QUARTER_MONTHS = 3


@dataclass(frozen=True)
class WhyMoved:
    """The verdict on one site's mix, and what to ask for the evidence."""

    site_id: str
    measure_id: str
    sentence: str


@dataclass(frozen=True)
class GradesView:
    """The Grades screen for one table.

    by_site: the network first, then each site, over the period. over_time: periods of three
    months of the network or the chosen site, oldest first. chart: share above the lowest band.
    table is None where no band was counted in the period. apart: whether sites share one mix. why:
    verdicts on the chosen site, else on those that moved. detail: of the chosen site.
    """

    month: date
    month_text: str
    answer: str
    subline: str
    caution: str
    table: GradeTable | None
    table_text: str
    tables: tuple[GradeTable, ...]
    period_text: str
    by_site: tuple[GradeBar, ...]
    over_time: tuple[GradeBar, ...]
    over_time_of: str
    chart: ChartView | None
    apart: str
    why: tuple[WhyMoved, ...]
    detail: GradeDetail | None


def grades_view(
    published: Published,
    *,
    month: date,
    table_id: str | None = None,
    site_id: str | None = None,
    months: int = 12,
    chart_months: int = 24,
) -> GradesView:
    """Distributions up to the month.

    Args:
        table_id: None: the stiffness table with most exams.
        site_id: whose history and chart are shown; None: the network's.
        months: period of the comparison by site, the month included.
        chart_months: length of the chart.
    """
    first = add_months(month, 1 - months)
    counts = published.frame("grade_counts").filter(pl.col("month") <= month)
    period = counts.filter(pl.col("month") >= first)
    tables = _tables_used(published, period)
    table = next((item for item in tables if item.id == table_id), tables[0] if tables else None)
    unit_name = _unit_name(published, site_id)
    chart = _chart(published, table, site_id, month, chart_months) if table else None
    answer, subline = _answer(published, table, month)
    by_site = _by_site(published, table, period) if table else ()
    return GradesView(
        month=month,
        month_text=month_name(month),
        answer=answer,
        subline=subline,
        caution=GRADE_CAUTION,
        table=table,
        table_text=table_text(table) if table else "",
        tables=tuple(tables),
        period_text=f"Exams of {month_name(first)} to {month_name(month)}.",
        by_site=by_site,
        over_time=_over_time(table, counts, site_id, month) if table else (),
        over_time_of=unit_name,
        chart=chart,
        apart=_apart(by_site) if table else "",
        why=_why(published, table, month, site_id) if table else (),
        detail=grade_detail(published, table, site_id=site_id, month=month, months=months)
        if table and site_id
        else None,
    )


def table_text(table: GradeTable) -> str:
    """What must stand beside every band: table, techniques, source and confidence."""
    used = words.listed(table.techniques)
    return f"Table {table.id} for {used}. Source: {table.source} ({table.confidence})."


def _tables_used(published: Published, period: pl.DataFrame) -> list[GradeTable]:
    """Stiffness before attenuation, then most exams first."""
    sums = period.group_by("table_id").agg(pl.sum("n_exams")).filter(pl.col("n_exams") > 0)
    n_exams = dict(sums.iter_rows())
    known = published.definitions.grade_tables
    tables = [known[key] for key in n_exams if key in known]
    return sorted(tables, key=lambda one: (one.quantity != "stiffness", -n_exams[one.id], one.id))


def _unit_name(published: Published, site_id: str | None) -> str:
    site = published.network.site(site_id) if site_id else None
    return site.name if site else published.network.name


def _chart(
    published: Published, table: GradeTable, site_id: str | None, month: date, months: int
) -> ChartView:
    measure = _measure_id(published, table)
    return chart_view(
        published,
        unit_kind=UnitKind.SITE if site_id else UnitKind.NETWORK,
        unit_id=site_id or NETWORK_ID,
        measure_id=measure,
        last_month=month,
        months=months,
    )


def _measure_id(published: Published, table: GradeTable) -> str:
    return published.definitions.measure_by_key(f"{table.quantity}_raised").id


def _answer(published: Published, table: GradeTable | None, month: date) -> tuple[str, str]:
    """(Which sites' share above the lowest band has moved in the month, the figures of each.)"""
    if table is None:
        return f"No bands to show up to {month_name(month)}.", ""
    points = _points(published, table, month)
    moved = points.filter(pl.col("state") == PointState.LOOK.value).sort("unit_id")
    judged = points.filter(pl.col("state") != PointState.FEW.value).height
    mix, when = f"the {table.quantity} mix", month_name(month)
    if not judged:
        return words.as_sentence(f"too few exams in {when} to say whether {mix} has moved"), ""
    if moved.is_empty():
        where = words.share_of(judged, judged, "site")
        return words.as_sentence(f"{mix} has not moved in {when} at {where} judged"), ""
    names = unit_names(published.network)
    rows = [(names[UnitKind.SITE.value, row["unit_id"]], row) for row in moved.to_dicts()]
    found = words.share_of(moved.height, judged, "site")
    answer = f"{mix} has moved in {when} at {found}: {words.listed([name for name, _ in rows])}"
    figures = [
        f"{name} {words.percent_with_interval(row['value'], row['lower'], row['upper'])}, "
        f"{words.percent(row['centre'])} expected"
        for name, row in rows
    ]
    return words.as_sentence(answer), f"Above the lowest band: {'; '.join(figures)}."


def _points(published: Published, table: GradeTable, month: date) -> pl.DataFrame:
    """CHART_POINTS of every site's share above the lowest band in the month."""
    return month_points(published, month, unit_kind=UnitKind.SITE).filter(
        pl.col("measure_id") == _measure_id(published, table), pl.col("n") > 0
    )


def _why(
    published: Published, table: GradeTable, month: date, site_id: str | None
) -> tuple[WhyMoved, ...]:
    """Why the mix moved at the chosen site, or at each site that needs a look."""
    points = _points(published, table, month)
    moved = points.filter(pl.col("state") == PointState.LOOK.value)["unit_id"].sort()
    measure = _measure_id(published, table)
    return tuple(
        WhyMoved(
            one,
            measure,
            explain_view(published, site_id=one, measure_id=measure, month=month).answer,
        )
        for one in ([site_id] if site_id else moved[:MOST_EXPLAINED])
    )


def _apart(by_site: Sequence[GradeBar]) -> str:
    """Whether sites share one mix: a test of all, and how large the difference is."""
    sites = [bar.counts for bar in by_site[1:] if bar.n]
    if len(sites) < 2:
        return ""
    found = compare_units(sites)
    p = "under 0.001" if (found.p_value or 0) < 0.001 else f"{found.p_value:.3f}"
    return (
        f"Between sites the difference is {found.size}: Cramér's V {found.value:.2f} "
        f"(chi-square p {p}); what is large by {found.source}."
    )


def _by_site(published: Published, table: GradeTable, period: pl.DataFrame) -> tuple[GradeBar, ...]:
    everyone = grade_bar(period, table=table, label="All sites", unit_id=NETWORK_ID)
    return (
        everyone,
        *(
            grade_bar(
                period.filter(pl.col("site_id") == site.id),
                table=table,
                label=site.name,
                unit_id=site.id,
            )
            for site in published.network.sites
        ),
    )


def _over_time(
    table: GradeTable, counts: pl.DataFrame, site_id: str | None, month: date
) -> tuple[GradeBar, ...]:
    rows = counts.filter(pl.col("site_id") == site_id) if site_id else counts
    bars = [
        grade_bar(
            rows.filter(pl.col("month").is_between(first, last)),
            table=table,
            label=f"{short_month_name(first)} to {short_month_name(last)}",
        )
        for first, last in _quarters(month)
    ]
    with_exams = [number for number, bar in enumerate(bars) if bar.n]
    return tuple(bars[with_exams[0] :]) if with_exams else ()


def _quarters(month: date) -> Sequence[tuple[date, date]]:
    """Periods of three months up to the month, oldest first."""
    ends = [add_months(month, -QUARTER_MONTHS * k) for k in reversed(range(QUARTERS))]
    return [(add_months(end, 1 - QUARTER_MONTHS), end) for end in ends]
