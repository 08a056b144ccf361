"""The network pack: the month of all sites, for the quality manager and her board."""

from collections.abc import Sequence
from datetime import date

import polars as pl

from qa.model.definitions import GRADE_CAUTION
from qa.model.document_words import Compliance
from qa.model.months import add_months, month_name, short_month_name
from qa.model.pack_request import PackRequest
from qa.model.published import Published
from qa.model.words import UnitKind
from qa.views import words
from qa.views.funnel import funnel_view
from qa.views.month import MonthView, month_view
from qa.views.names import NETWORK_ID, site_name
from qa.views.needs import training_needs
from qa.views.pack import FIRST_CHART, chart_figures, check_month
from qa.views.pack_facts import PackFacts
from qa.views.pack_grades import network_grade_blocks
from qa.views.pack_record import method_rows, provenance_of
from qa.views.paper import (
    Block,
    Cell,
    ChartBlock,
    ChartPairs,
    Contents,
    FigureRow,
    Funnel,
    Grades,
    Grid,
    Head,
    Heat,
    Look,
    Paper,
    Para,
    Section,
    WideChart,
    said,
)
from qa.views.paper_cases import NO_RECORD, case_section
from qa.views.paper_equipment import equipment_section, pack_equipment
from qa.views.paper_methods import caution_section, method_section, provenance_section
from qa.views.paper_site import CHART_NOTE, HEAT_NOTE, shown_network
from qa.views.paper_told import restated, told_section
from qa.views.scope import month_points
from qa.views.shown import Figure
from qa.views.site import SUMMARY_KEYS
from qa.views.worklist import WorkItem

FIRST_ITEMS, SHOWN_CHARTS = 3, 4
SHOWN_NEEDS = 12


def network_paper(
    published: Published,
    request: PackRequest,
    facts: PackFacts | None,
    number: int,
    software: str,
) -> Paper:
    """Raises: PackError: no site has exams in the month."""
    check_month(published, request.month)
    month = request.month
    view = month_view(published, month=month)
    grades = network_grade_blocks(published, month=month)
    criteria_ids = {view.criteria_id} if view.criteria_id else set()
    made = provenance_of(
        published,
        file_months=[month],
        criteria_ids=criteria_ids,
        table_ids={block.table.id for block in grades},
    )
    name, network = request.name(number), shown_network(published.network)
    equipment = pack_equipment(
        published, facts, on=facts.known_at.date() if facts else month, site_id=None
    )
    measures = {measure.id for measure in view.measures}
    sections = (
        _summary(published, view, facts),
        _items(view),
        _sites(view),
        _operators(published, view),
        Section("grades", "Grade distribution", _grades(grades), room=210.0),
        equipment_section(equipment),
        _rounds(facts),
        case_section(facts, published.network, from_month=month, to_month=month, names_sites=True),
        _intake(view),
        told_section(
            restated(published, facts, before=month), n_told=len(facts.told) if facts else 0
        ),
        _requirements(published, facts, month),
        method_section(method_rows(published.definitions, measures), made),
        caution_section(),
        provenance_section(made, facts, pack_name=name, software=software),
    )
    return Paper(
        request=request,
        name=name,
        title=f"{published.network.name}, {view.month_text}: network pack {name}",
        subject=view.answer,
        author=network,
        left=f"All sites · {view.month_text}",
        right=network,
        is_invented=published.network.is_invented,
        criteria_id=view.criteria_id,
        made=made,
        sections=sections,
    )


def network_figures(published: Published, month: date) -> tuple[Figure, ...]:
    """Exams judged, then the summary measures, beside the month before."""
    counts = published.frame("monthly_counts", month=month)
    judged = int(counts["n_judged"].sum())
    before = add_months(month, -1)
    now, then = _values(published, month), _values(published, before)
    figures = [Figure("n_judged", "exams judged", words.whole(judged), float(judged), judged)]
    for key in SUMMARY_KEYS:
        measure = published.definitions.measure_by_key(key)
        row, old = now.get(measure.id), then.get(measure.id)
        figures.append(
            Figure(
                key,
                words.lower_first(measure.title),
                words.percent(row["value"] if row else None),
                row["value"] if row else None,
                row["n"] if row else 0,
                words.interval(row["lower"], row["upper"]) if row else "",
                f"{words.percent(old['value'])} in {short_month_name(before)}" if old else "",
            )
        )
    return tuple(figures)


def _values(published: Published, month: date) -> dict[str, dict]:
    rows = month_points(published, month, unit_kind=UnitKind.NETWORK)
    own = rows.filter(pl.col("unit_id") == NETWORK_ID)
    return {row["measure_id"]: row for row in own.iter_rows(named=True)}


def _summary(published: Published, view: MonthView, facts: PackFacts | None) -> Section:
    late = [one.text for one in view.arrivals if one.site_id and "not in" in one.text]
    blocks: list[Block] = [
        said(Figure("answer", "the month in words", view.answer, None), Look.TITLE),
        Para(view.subline, Look.MUTED),
        FigureRow(network_figures(published, view.month)),
        *(Para(one, Look.SMALL) for one in late),
    ]
    if view.items:
        blocks.append(Head("What needs a decision first"))
        rows = tuple(_item_row(i, item) for i, item in enumerate(view.items[:FIRST_ITEMS]))
        headings = ("What was found", "What is suggested", "At stake")
        blocks.append(Grid("What needs a decision first", headings, rows, (38, 38, 24)))
    blocks.append(Contents())
    return Section("summary", "The month in words", tuple(blocks), is_first=True)


def _item_row(i: int, item: WorkItem) -> tuple[Cell, ...]:
    return (
        _said(f"first.{i}.finding", item.finding),
        Para(item.suggestion, Look.SMALL),
        _said(f"first.{i}.stake", item.stake_text),
    )


def _said(name: str, text: str) -> Para:
    return said(Figure(name, "", text, None), Look.SMALL)


def _items(view: MonthView) -> Section:
    """Every item of the list, then the charts of the first ones."""
    title = "The list of the month"
    if not view.items:
        return Section("items", title, (Para("Nothing is on the list.", Look.SMALL),))
    rows = tuple(
        (
            str(item.rank),
            _said(f"item.{i}.finding", item.finding),
            Para(item.since_text, Look.SMALL),
            (Para(item.suggestion, Look.SMALL), Para(f"Most likely: {item.likely}", Look.NOTE)),
            _said(f"item.{i}.stake", item.stake_text),
        )
        for i, item in enumerate(view.items)
    )
    headings = ("", "What was found", "Since", "What is suggested", "At stake")
    blocks: list[Block] = [
        Grid(title, headings, rows, (4, 25, 19, 34, 18)),
        Para(view.budget_text, Look.NOTE),
        Para(CHART_NOTE, Look.NOTE),
    ]
    charted = [item for item in view.items if item.chart and item.chart.points][:SHOWN_CHARTS]
    for item in charted:
        assert item.chart is not None
        figures = chart_figures(item.chart, view.month)
        blocks.append(WideChart(ChartBlock(item.chart, figures), view.month))
    return Section("items", title, tuple(blocks), room=200.0)


def _sites(view: MonthView) -> Section:
    charts = tuple(
        ChartBlock(chart, chart_figures(chart, view.month))
        for chart in view.multiples
        if chart.points
    )
    measure = words.lower_first(view.multiples_measure.title)
    blocks: tuple[Block, ...] = (
        Heat(f"Sites in {view.month_text}", UnitKind.SITE.value, view.heat, view.measures),
        Para(HEAT_NOTE, Look.NOTE),
        Head(f"{words.as_sentence(measure).rstrip('.')} at every site"),
        ChartPairs(charts, view.month),
    )
    return Section("sites", "Sites", blocks, room=200.0)


def _operators(published: Published, view: MonthView) -> Section:
    """Who needs what, and all operators compared."""
    needs = training_needs(published, view.items, month=view.month)
    shown = needs[:SHOWN_NEEDS]
    blocks: list[Block] = []
    if shown:
        rows = tuple(
            (
                Para(need.unit_name, Look.SMALL),
                (Para(need.what, Look.SMALL), Para(need.reason, Look.NOTE)),
                Para(need.stake_text, Look.SMALL),
                Para(need.practice, Look.SMALL),
            )
            for need in shown
        )
        headings = ("Operator", "What, and why", "At stake", "Practice")
        blocks.append(Grid("Who needs what", headings, rows, (20, 42, 20, 18)))
        if len(needs) > len(shown):
            more = f"{len(needs) - len(shown)} more stand on the Operators screen."
            blocks.append(Para(more, Look.NOTE))
    else:
        blocks.append(Para("No operator needs anything that the charts show.", Look.SMALL))
    measure = published.definitions.measure_by_key(FIRST_CHART)
    funnel = funnel_view(published, unit_kind=UnitKind.OPERATOR, measure=measure, month=view.month)
    if funnel.dots:
        note = f"Each ring is an operator. {funnel.how_text}"
        blocks.append(Funnel("operators.funnel", funnel, note))
    return Section("operators", "Operators", tuple(blocks), room=150.0)


def _grades(blocks: Sequence) -> tuple[Block, ...]:
    from_caution: list[Block] = [Para(GRADE_CAUTION, Look.SMALL)]
    if not blocks:
        return (*from_caution, Para("No exam of the last twelve months has a grade.", Look.SMALL))
    return (*from_caution, *(Grades(block) for block in blocks))


def _rounds(facts: PackFacts | None) -> Section:
    title = "Rounds between sites"
    if facts is None or not facts.rounds:
        return Section("rounds", title, (Para("No round was planned.", Look.SMALL),))
    rows = tuple(
        (
            one.round_id,
            Para(one.plan.title, Look.SMALL),
            Para("closed" if one.is_closed else f"open until {one.plan.closes_on}", Look.SMALL),
            Figure(
                f"{one.round_id}.reported",
                "reported",
                f"{len(one.results)} of {len(one.plan.participants)}",
                float(len(one.results)),
            ),
            Para(_out(one), Look.SMALL),
        )
        for one in reversed(facts.rounds)
    )
    headings = ("Round", "About", "State", "Reported", "Out of limits")
    return Section("rounds", title, (Grid(title, headings, rows, (16, 28, 22, 14, 20)),))


def _out(one) -> str:
    out = [row.result.participant for row in one.scores.scores if row.verdict == "action"]
    return words.listed(out) or "none"


def _intake(view: MonthView) -> Section:
    title = "What came in, and what did not"
    if not view.arrivals:
        return Section("intake", title, (Para("Everything came in.", Look.SMALL),))
    rows = tuple((Para(one.text, Look.SMALL), Para(one.todo, Look.SMALL)) for one in view.arrivals)
    return Section("intake", title, (Grid(title, ("What", "What to do"), rows, (64, 36)),))


def _requirements(published: Published, facts: PackFacts | None, month: date) -> Section:
    """How many requirements each site met in the newest month whose evidence is due."""
    title = "Requirements met"
    if facts is None or not facts.verdicts:
        return Section("requirements", title, (Para(NO_RECORD, Look.SMALL),))
    before = add_months(month, -1)
    rows: list[tuple[Cell, ...]] = []
    for site in published.network.sites:
        own = [one for one in facts.verdicts if one.site_id == site.id and one.month == before]
        n = {one: sum(verdict.answer is one for verdict in own) for one in Compliance}
        missed = [v.requirement.title for v in own if v.answer is Compliance.NOT_MET]
        rows.append(
            (
                Para(site_name(published.network, site.id), Look.SMALL),
                *(
                    Figure(f"requirements.{site.id}.{i}", str(one), str(n[one]), float(n[one]))
                    for i, one in enumerate(Compliance)
                ),
                Para(words.listed(missed) or "none", Look.SMALL),
            )
        )
    headings = ("Site", "Met", "Not met", "No evidence", "Not met, in words")
    lead = f"{month_name(before)}, whose evidence is due by the end of {month_name(month)}."
    grid = Grid(title, headings, tuple(rows), (20, 8, 10, 12, 50))
    return Section("requirements", title, (Para(lead, Look.SMALL), grid), room=150.0)
