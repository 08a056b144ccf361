"""Everything that one site pack says, computed from one snapshot; drawn by reports."""

from dataclasses import dataclass
from datetime import date

from qa.model.definitions import Network
from qa.model.errors import PackError
from qa.model.months import month_name
from qa.model.permissions import Actor, Role
from qa.model.published import Published
from qa.model.words import UnitKind
from qa.views import words
from qa.views.chart import chart_frames, cut_chart
from qa.views.equipment import EquipmentView
from qa.views.funnel import funnel_view
from qa.views.pack_exams import PackExam, pack_exams
from qa.views.pack_facts import PackFacts
from qa.views.pack_grades import GradeBlock, grade_blocks
from qa.views.pack_record import MethodRow, Provenance, method_rows, provenance
from qa.views.pack_repeats import FollowedUp, followed_up
from qa.views.pack_summary import Ask, asks, changes, rows_waiting
from qa.views.paper import ChartBlock
from qa.views.paper_equipment import pack_equipment
from qa.views.paper_told import Restated, restated
from qa.views.scope import published_months
from qa.views.seen import seen_by
from qa.views.shown import ChartView, Figure, FunnelView
from qa.views.site import SiteView, site_view

MONTHS = 24
FIRST_CHART = "unreliable"


@dataclass(frozen=True)
class RenderedPack:
    """A pack as bytes: the PDF, its sealed manifest, and the figures printed, in their order."""

    pdf: bytes
    manifest: bytes
    figures: tuple[Figure, ...]


@dataclass(frozen=True)
class SitePack:
    """One site's month as a document.

    lead_chart stands on page one: the first signal's chart, else that of unreliable exams.
    item_charts: the other signals; site_charts: every other measure, grade mixes last.
    equipment: None where no register is kept. restated: None where nothing was told before.
    """

    network: Network
    site: SiteView
    answer: Figure
    changes: tuple[str, ...]
    asks: tuple[Ask, ...]
    lead_chart: ChartBlock | None
    item_charts: tuple[ChartBlock, ...]
    site_charts: tuple[ChartBlock, ...]
    funnel: FunnelView | None
    repeats: FollowedUp
    grades: tuple[GradeBlock, ...]
    exams: tuple[PackExam, ...]
    methods: tuple[MethodRow, ...]
    provenance: Provenance
    equipment: EquipmentView | None
    restated: tuple[Restated, ...] | None


def site_pack(
    published: Published, *, site_id: str, month: date, facts: PackFacts | None = None
) -> SitePack:
    """Everything that the pack of one site's month says.

    Args: facts: what people recorded about the site; None: the network keeps no record.
    Returns: the pack; a site without exams in the month gets one that says so.
    Raises: PackError: the site is not in the network, or no site has exams in the month.
    """
    check_request(published, site_id=site_id, month=month)
    site = site_view(published, site_id=site_id, month=month, months=MONTHS)
    exams = published.frame("exams", site_id=site_id, month=month)
    waiting = rows_waiting(published, exams, site_id=site_id)
    blocks = _item_blocks(published, site, month)
    shown = {chart_name(block.chart) for block in blocks}
    site_charts = tuple(
        ChartBlock(chart, chart_figures(chart, month))
        for chart in site.counting
        if chart_name(chart) not in shown
    )
    lead = blocks[0] if blocks else _first_chart(published, site_charts)
    grades = grade_blocks(published, site_id=site_id, site_name=site.site_name, month=month)
    on = facts.known_at.date() if facts else month
    equipment = pack_equipment(published, facts, on=on, site_id=site_id)
    return SitePack(
        network=published.network,
        site=site,
        answer=Figure("answer", "the month in words", site.answer, None),
        changes=changes(published, site, waiting=waiting),
        asks=asks(site, waiting=waiting, facts=facts, equipment=equipment),
        lead_chart=lead,
        item_charts=blocks[1:],
        site_charts=tuple(block for block in site_charts if block is not lead),
        funnel=_funnel(published, site, month),
        repeats=followed_up(published, site_id=site_id, month=month),
        grades=grades,
        exams=pack_exams(published, site.exams, exams),
        methods=method_rows(published.definitions, {chart.measure_id for chart in site.counting}),
        provenance=provenance(published, site, table_ids={block.table.id for block in grades}),
        equipment=equipment,
        restated=restated(published, facts, before=month),
    )


def check_request(published: Published, *, site_id: str, month: date) -> None:
    """Raises: PackError: no pack can be made of this site and month."""
    network = published.network
    if network.site(site_id) is None:
        raise PackError(
            f"there is no site '{site_id}' in {network.name}",
            expected=f"one of {words.listed([site.id for site in network.sites])}",
            todo="Check the id, or add the site to network.toml and run 'elastoqa refresh'",
            code="PCK-001",
        )
    check_month(published, month)


def check_month(published: Published, month: date) -> None:
    """Raises: PackError: no site has exams in the month."""
    months = published_months(published)
    if month not in months:
        known = f"{month_name(months[0])} to {month_name(months[-1])}" if months else "none yet"
        raise PackError(
            f"no site has exams of {month_name(month)} in what is published",
            where=published.snapshot_id,
            expected=f"a month with exams: {known}",
            todo="Run 'elastoqa intake' and 'elastoqa refresh', or choose another month",
            code="PCK-002",
        )


def _item_blocks(published: Published, site: SiteView, month: date) -> tuple[ChartBlock, ...]:
    """A chart for each signal: the site's own where it has one, else that of its operator."""
    own = {chart_name(chart): chart for chart in site.charts}
    kinds = {item.chart_unit[0] for item in site.items} - {UnitKind.SITE}
    frames = {
        kind: chart_frames(published, unit_kind=kind, site_id=site.site_id)
        for kind in sorted(kinds)
    }
    blocks = []
    for item in site.items:
        name = f"{item.unit_kind}.{item.unit_id}.{item.measure_id}"
        kind, unit_id = item.chart_unit
        chart = own.get(f"{kind}.{unit_id}.{item.measure_id}") or cut_chart(
            frames[kind],
            published=published,
            unit_kind=kind,
            unit_id=unit_id,
            measure_id=item.measure_id,
            last_month=month,
            months=MONTHS,
        )
        finding = Figure(f"{name}.signal", "signal", item.finding, None)
        stake = Figure(f"{name}.stake", "exams at stake", item.stake_text, None)
        figures = (finding, *chart_figures(chart, month)[1:], stake)
        blocks.append(ChartBlock(chart, figures, item))
    return tuple(blocks)


def _first_chart(published: Published, blocks: tuple[ChartBlock, ...]) -> ChartBlock | None:
    measure_id = published.definitions.measure_by_key(FIRST_CHART).id
    return next((block for block in blocks if block.chart.measure_id == measure_id), None)


def _funnel(published: Published, site: SiteView, month: date) -> FunnelView | None:
    """The site's operators among all; None where none of them can be compared.

    A pack leaves the other sites, so their operators stand in it as its lead may see them.
    """
    lead = Actor("pack", "pack", (Role.SITE_LEAD,), sites=(site.site_id,))
    measure = published.definitions.measure_by_key(FIRST_CHART)
    view = funnel_view(
        seen_by(published, lead, peer_key=published.snapshot_id),
        unit_kind=UnitKind.OPERATOR,
        measure=measure,
        month=month,
        own_site_id=site.site_id,
    )
    return view if any(dot.is_own for dot in view.dots) else None


def chart_name(chart: ChartView) -> str:
    return f"{chart.unit_kind}.{chart.unit_id}.{chart.measure_id}"


def chart_figures(chart: ChartView, month: date) -> tuple[Figure, ...]:
    """The finding, the month's value with interval and n, and what it is held against."""
    name = chart_name(chart)
    finding = Figure(f"{name}.finding", "finding", chart.finding, None)
    last = [point for point in chart.points if point.month == month]
    if not last:
        return (finding,)
    point = max(last, key=lambda one: one.n)
    value = Figure(
        f"{name}.value",
        chart.measure_title,
        words.percent(point.value),
        point.value,
        point.n,
        words.interval(point.lower, point.upper),
    )
    if point.centre is None:
        return (finding, value)
    ends = words.interval(point.lcl, point.ucl)
    return (finding, value, Figure(f"{name}.limits", "limits", f"limits {ends}", point.centre))
