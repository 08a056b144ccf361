"""Pack: what a pack says, as a page that everybody can read; the same blocks as the PDF."""

from collections.abc import Sequence
from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard import figures, ids
from dashboard.addresses import Page
from dashboard.components.bands import band_bars, band_key
from dashboard.components.basics import section, state_mark
from dashboard.components.charts import TALL, funnel_figure, graph, points_table
from dashboard.components.choices import links, select
from dashboard.components.shell import message_screen, screen
from dashboard.components.tables import table
from dashboard.selection import Context
from qa.jobs.followup.pack_facts import may_read_pack, read_pack_facts
from qa.model.errors import UserError
from qa.model.months import add_months
from qa.model.pack_request import PackKind, PackRequest
from qa.views import words
from qa.views.pack_grades import GradeBlock
from qa.views.paper import (
    Atom,
    Block,
    Cell,
    ChartBlock,
    ChartPairs,
    Contents,
    Evidence,
    FigureRow,
    Funnel,
    Grades,
    Grid,
    Head,
    Heat,
    Kept,
    Look,
    Mark,
    Paper,
    Para,
    Scores,
    Section,
    WideChart,
)
from qa.views.papers import write_paper
from qa.views.shown import Figure, GradeBar

KIND_WORDS = {
    PackKind.SITE: "Site pack",
    PackKind.NETWORK: "Network pack",
    PackKind.RECORD: "Accreditation record",
}
RECORD_MONTHS = 12


def layout(context: Context) -> Component:
    request = asked_for(context)
    if not may_read_pack(context.desk, context.published.network, request):
        return message_screen(
            "This pack is not yours to read.",
            "Site leads read the packs of their own sites.",
            prefix=context.prefix,
        )
    try:
        facts = read_pack_facts(context.desk, context.published, request)
        paper = write_paper(
            context.published,
            request,
            facts=facts,
            number=0,
            software=context.published.software_version,
        )
    except UserError as problem:
        return message_screen("There is no such pack.", problem.message, prefix=context.prefix)
    first, *others = paper.sections
    title, *rest = first.blocks
    return screen(
        context,
        Page.PACK,
        answer=title.words if isinstance(title, Para) else paper.title,
        subline=f"{paper.left}. The same words and figures as in the PDF.",
        children=[
            _choices(context, request),
            html.Div(draw(rest, paper), className="pack"),
            *(_section(one, paper) for one in others),
        ],
    )


def asked_for(context: Context) -> PackRequest:
    """The pack that an address asks for: without a kind that of a site, else of the network."""
    chosen, network = context.selection, context.published.network
    kind = PackKind(chosen.kind) if chosen.kind else None
    if kind is None:
        kind = PackKind.SITE if chosen.site_id else PackKind.NETWORK
    units = {
        PackKind.SITE: chosen.site_id or (network.sites[0].id if network.sites else ""),
        PackKind.NETWORK: network.id,
        PackKind.OPERATOR: chosen.operator_id or "",
        PackKind.ROUND: chosen.round or "",
        PackKind.RECORD: chosen.site_id or network.id,
    }
    first = add_months(chosen.month, 1 - RECORD_MONTHS) if kind is PackKind.RECORD else None
    return PackRequest(kind, units[kind], chosen.month, first)


def _choices(context: Context, request: PackRequest) -> Component:
    sites = [
        (site.name, context.here(Page.PACK, site=site.id, kind=str(PackKind.SITE)))
        for site in context.published.network.sites
        if may_read_pack(
            context.desk,
            context.published.network,
            PackRequest(PackKind.SITE, site.id, request.month),
        )
    ]
    kinds = [
        (text, context.here(Page.PACK, kind=str(kind)), kind is request.kind)
        for kind, text in KIND_WORDS.items()
    ]
    here = context.here(Page.PACK, site=request.unit_id, kind=str(PackKind.SITE))
    return html.Div([select("Site", sites, chosen=here), links("Show", kinds)], className="choices")


def _section(one: Section, paper: Paper) -> Component:
    return section(
        one.title, html.Div(draw(one.blocks, paper), className="pack"), id=f"pack-{one.key}"
    )


def draw(blocks: Sequence[Block], paper: Paper) -> list[Any]:
    """Blocks as components, in their order."""
    return [part for block in blocks for part in _block(block, paper)]


def _block(block: Block, paper: Paper) -> list[Any]:
    match block:
        case Para():
            return [_para(block)]
        case Head():
            return [html.H3(block.words)]
        case Grid():
            return [_grid(block)]
        case FigureRow():
            return [html.Dl([_figure(one) for one in block.figures], className="figures")]
        case WideChart():
            return [_chart(block.block)]
        case ChartPairs():
            return [_chart(one) for one in block.blocks]
        case Evidence():
            return [html.P(block.block.chart.why_chart, className="note")]
        case Heat():
            return [_heat(block)]
        case Funnel():
            return [funnel_figure(block.view, id=ids.Pack.FUNNEL), html.P(block.note)]
        case Grades():
            return _grades(block)
        case Scores():
            return [_scores(block)]
        case Contents():
            return [_contents(paper)]
        case Kept():
            return draw(block.blocks, paper)


def _para(para: Para) -> Component:
    css = {Look.NOTE: "note", Look.MUTED: "sub"}.get(para.look)
    if para.look in (Look.STRONG, Look.SMALL_STRONG):
        return html.P(html.Strong(para.words))
    return html.P(para.words, className=css)


def _figure(figure: Figure) -> Component:
    under = [figure.interval_text] if figure.interval_text else []
    if figure.n is not None and figure.interval_text:
        under.append(f"n = {words.whole(figure.n)}")
    under += [figure.beside] if figure.beside else []
    return html.Div(
        [html.Dt(figure.label), html.Dd(figure.text)]
        + [html.Dd(text, className="under") for text in under]
    )


def _chart(block: ChartBlock) -> Component:
    """A chart under its sentence, with its figures in words and as a table."""
    finding, *others = block.figures
    told = [_atom(one) for one in others]
    chart = block.chart
    if not chart.points:
        return html.Div([html.P(html.Strong(finding.text)), html.P("No exams to draw.")])
    return html.Figure(
        [
            html.Figcaption(finding.text),
            html.P([part for one in told for part in (one, ". ")], className="note"),
            graph(figures.control_chart(chart), TALL),
            html.Details([html.Summary("As a table"), points_table(chart)]),
            html.P(chart.baseline_text, className="note"),
        ],
        className="chart",
    )


def _heat(heat: Heat) -> Component:
    rows = [
        (
            row.name,
            *(
                [state_mark(cell.state), f" {cell.text}, n = {words.whole(cell.n)}"]
                if cell.value is not None
                else cell.word
                for cell in row.cells
            ),
        )
        for row in heat.rows
    ]
    headings = (heat.unit_kind.capitalize(), *(one.title for one in heat.measures))
    return table(heat.caption, headings, rows)


def _grades(grades: Grades) -> list[Component]:
    block = grades.block
    labels = block.bars[0].band_labels if block.bars else ()
    return [
        html.H3(block.sentence),
        band_key(labels),
        band_bars(block.bars),
        html.Details([html.Summary("As a table"), _grade_table(block)]),
        html.P(block.table_text, className="note"),
    ]


def _grade_table(block: GradeBlock) -> Component:
    """Share and count of each band, as the pack prints them."""
    rows = [
        (label, *(_share(bar, i) for bar in block.bars))
        for i, label in enumerate(block.bars[0].band_labels if block.bars else ())
    ]
    return table(block.sentence, ("Band", *(bar.label for bar in block.bars)), rows)


def _share(bar: GradeBar, band: int) -> str:
    if not bar.n:
        return words.NO_DATA
    return f"{words.percent(bar.shares[band])} ({words.whole(bar.counts[band])})"


def _scores(scores: Scores) -> Component:
    rows = [
        (name, f"{score:+.1f}", state_mark(state, word=word))
        for name, score, state, word in scores.lines
    ]
    return table(scores.caption, ("Participant", "Score", "Verdict"), rows, numeric=(1,))


def _contents(paper: Paper) -> Component:
    return html.Ul(
        [
            html.Li(html.A(one.title, href=f"#pack-{one.key}"))
            for one in paper.sections
            if not one.is_first
        ],
        className="contents",
    )


def _grid(grid: Grid) -> Component:
    long = tuple(range(1, len(grid.headings)))
    rows = [[_cell(cell) for cell in row] for row in grid.rows]
    return table(grid.caption, grid.headings, rows, long=long)


def _cell(cell: Cell) -> Any:
    if isinstance(cell, tuple):
        return [html.Div(_atom(atom)) for atom in cell]
    return _atom(cell)


def _atom(atom: Atom) -> Any:
    match atom:
        case Para():
            return atom.words
        case Mark():
            return state_mark(atom.state, word=atom.word)
        case Figure():
            parts = [atom.text, atom.interval_text]
            if atom.interval_text and atom.n is not None:
                parts.append(f"n = {words.whole(atom.n)}")
            return ", ".join(part for part in parts if part)
        case str():
            return atom
