"""Blocks of a document → flowables; the only place that knows how each block is drawn."""

from collections.abc import Mapping, Sequence

from reportlab.platypus import Flowable, KeepTogether, Spacer

from qa.views import words
from qa.views.paper import (
    Atom,
    Block,
    Cell,
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
from qa.views.shown import Figure
from reports import look
from reports.draw import FunnelChart, ScoreChart, StateWord
from reports.parts import (
    Bookmark,
    PageTwo,
    contents,
    gap,
    note,
    part,
    section,
    small,
    table,
    text,
)
from reports.sections.charts import chart_pairs, evidence, wide_chart
from reports.sections.grades import grade_chart
from reports.sections.heat import heat_table
from reports.sections.page_one import figure_row, lead_chart, lead_height, split_at_lead

PARA_GAPS = {Look.TITLE: 6.0, Look.MUTED: 6.0, Look.BODY: 4.0, Look.SMALL: 4.0, Look.NOTE: 2.0}
Pages = Mapping[str, int]
"""Section → the page on which it begins, as the last layout found it."""


def story_of(paper: Paper, sheet: look.Sheet, *, pages: Pages) -> list[Flowable]:
    """All sections; page one is its own."""
    story: list[Flowable] = []
    for one in paper.sections:
        if one.is_first:
            story += [Bookmark(one.key, one.title), *_page_one(one, sheet, paper, pages)]
            if len(paper.sections) > 1:
                story.append(PageTwo())
        else:
            heading = section(one.key, one.title, room=one.room)
            story += [*heading, *_drawn(one.blocks, paper, pages)]
    return story


def _page_one(one: Section, sheet: look.Sheet, paper: Paper, pages: Pages) -> list[Flowable]:
    """The chart takes the height that the words leave."""
    above, chart, below = split_at_lead(one.blocks)
    before, after = _drawn(above, paper, pages), _drawn(below, paper, pages)
    if chart is None:
        return [*before, *after]
    height = lead_height([*before, *lead_chart(chart, height=0.0)], after, sheet=sheet)
    return [*before, *lead_chart(chart, height=height), *after]


def _drawn(blocks: Sequence[Block], paper: Paper, pages: Pages) -> list[Flowable]:
    story: list[Flowable] = []
    for block in blocks:
        story += draw_block(block, paper, pages)
    return story


def draw_block(block: Block, paper: Paper, pages: Pages) -> list[Flowable]:
    """One block as flowables."""
    match block:
        case Para():
            return [draw_para(block), gap(PARA_GAPS.get(block.look, 0.0))]
        case Head():
            return part(block.words)
        case Grid():
            return [draw_grid(block), gap(4)]
        case FigureRow():
            return figure_row(block)
        case WideChart():
            return [KeepTogether(wide_chart(block))]
        case Evidence():
            return [gap(8), *evidence(block.block, is_lead=True)]
        case ChartPairs():
            return chart_pairs(block)
        case Heat():
            return heat_table(block)
        case Grades():
            return grade_chart(block)
        case Scores():
            return [ScoreChart(block), gap(4)]
        case Contents():
            return contents(paper, pages)
        case Funnel():
            finding = text(block.view.finding, is_strong=True)
            return [KeepTogether([gap(12), finding, FunnelChart(block.view), note(block.note)])]
        case Kept():
            return [KeepTogether([*_drawn(block.blocks, paper, pages), Spacer(0, 6)])]


def draw_para(para: Para) -> Flowable:
    match para.look:
        case Look.TITLE:
            return text(para.words, size=look.TITLE, is_strong=True)
        case Look.STRONG:
            return text(para.words, is_strong=True)
        case Look.MUTED:
            return text(para.words, is_muted=True)
        case Look.SMALL:
            return small(para.words)
        case Look.SMALL_STRONG:
            return small(para.words, is_strong=True)
        case Look.NOTE:
            return note(para.words)
        case Look.BODY:
            return text(para.words)


def draw_grid(grid: Grid) -> Flowable:
    scale = look.WIDTH / sum(grid.shares)
    widths = [share * scale for share in grid.shares]
    rows = [[_cell(cell) for cell in row] for row in grid.rows]
    return table(grid.headings, rows, widths=widths)


def _cell(cell: Cell) -> str | Flowable | list[Flowable]:
    if isinstance(cell, tuple):
        return [_atom(atom) for atom in cell]
    return cell if isinstance(cell, str) else _atom(cell)


def _atom(atom: Atom) -> Flowable:
    match atom:
        case Para():
            return draw_para(atom)
        case Figure():
            return _figure(atom)
        case Mark():
            return StateWord(atom.state, atom.word, is_close=atom.is_close)
        case str():
            return small(atom)


def _figure(figure: Figure) -> Flowable:
    """A figure on one line, with its interval and n where it has them."""
    parts = [figure.text, figure.interval_text]
    if figure.interval_text and figure.n is not None:
        parts.append(f"n = {words.whole(figure.n)}")
    return small(", ".join(part for part in parts if part))
