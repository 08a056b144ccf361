"""A document before it is drawn: sections of plain blocks, drawn as PDF pages and as a screen.

What a pack says is written here once; reports and dashboard only draw it. Every figure stands in
a block, so paper_figures knows all that is printed, in the order of printing.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import TypeAlias

from qa.model.definitions import Measure
from qa.model.pack_request import PackRequest
from qa.views import words
from qa.views.heat import HeatCell, HeatRow
from qa.views.pack_grades import GradeBlock
from qa.views.pack_record import Provenance
from qa.views.shown import ChartView, Figure, FunnelView
from qa.views.worklist import WorkItem


class Look(StrEnum):
    """How a paragraph is set; no other ways exist."""

    TITLE = "title"
    BODY = "body"
    STRONG = "strong"
    MUTED = "muted"
    SMALL = "small"
    SMALL_STRONG = "small strong"
    NOTE = "note"


@dataclass(frozen=True)
class Para:
    """A paragraph. figure: set where its words are a figure of the manifest."""

    words: str
    look: Look = Look.BODY
    figure: Figure | None = None


def said(figure: Figure, look: Look = Look.BODY) -> Para:
    """A figure that is a sentence."""
    return Para(figure.text, look, figure)


@dataclass(frozen=True)
class Head:
    """A heading inside a section."""

    words: str


@dataclass(frozen=True)
class Mark:
    """A state: a mark that differs in shape, and its word. is_close: in a narrow column."""

    state: str
    word: str
    is_close: bool = False


Atom: TypeAlias = str | Figure | Mark | Para
Cell: TypeAlias = Atom | tuple[Atom, ...]


@dataclass(frozen=True)
class Grid:
    """A table. shares: widths of the columns as parts of their sum; cells of a tuple are stacked.

    caption: what the table is, for whoever cannot see it.
    """

    caption: str
    headings: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    shares: tuple[float, ...]


@dataclass(frozen=True)
class FigureRow:
    """Some figures side by side."""

    figures: tuple[Figure, ...]


@dataclass(frozen=True)
class ChartBlock:
    """A chart with its figures in words. item: the signal that it is evidence for, if any."""

    chart: ChartView
    figures: tuple[Figure, ...]
    item: WorkItem | None = None


@dataclass(frozen=True)
class WideChart:
    """A chart in full width under its sentence. is_lead: it takes the height that page one has
    left, and its evidence stands elsewhere."""

    block: ChartBlock
    month: date
    is_lead: bool = False


@dataclass(frozen=True)
class Evidence:
    """Why the chart on page one asks for a look."""

    block: ChartBlock


@dataclass(frozen=True)
class ChartPairs:
    """Charts two in a row."""

    blocks: tuple[ChartBlock, ...]
    month: date


@dataclass(frozen=True)
class Heat:
    """Units × measures: a mark, a rate, its interval and n in each cell."""

    caption: str
    unit_kind: str
    rows: tuple[HeatRow, ...]
    measures: tuple[Measure, ...]


@dataclass(frozen=True)
class Funnel:
    """Units compared, with what is drawn in words."""

    name: str
    view: FunnelView
    note: str


@dataclass(frozen=True)
class Grades:
    """Distributions by one table, drawn above each other."""

    block: GradeBlock


@dataclass(frozen=True)
class Scores:
    """Participants of a round on one scale of scores. lines: name, score, state, word."""

    caption: str
    lines: tuple[tuple[str, float, str, str], ...]


@dataclass(frozen=True)
class Contents:
    """The sections with the page on which each begins."""


@dataclass(frozen=True)
class Kept:
    """Blocks that stay together on a page."""

    blocks: tuple["Block", ...]


Block: TypeAlias = (
    Para
    | Head
    | Grid
    | FigureRow
    | WideChart
    | Evidence
    | ChartPairs
    | Heat
    | Funnel
    | Grades
    | Scores
    | Contents
    | Kept
)


@dataclass(frozen=True)
class Section:
    """A part with a bookmark.

    Args:
        room: points that have to be left on a page to begin it there.
        is_first: page one; it has no heading of its own, and what follows begins on a new page.
    """

    key: str
    title: str
    blocks: tuple[Block, ...]
    room: float = 120.0
    is_first: bool = False


@dataclass(frozen=True)
class Paper:
    """A document.

    Args:
        left, right: what stands at the head of every page.
        criteria_id: the set that judged the month, for the manifest.
        made: what it was made from.
    """

    request: PackRequest
    name: str
    title: str
    subject: str
    author: str
    left: str
    right: str
    is_invented: bool
    criteria_id: str | None
    made: Provenance
    sections: tuple[Section, ...]

    @property
    def stamp(self) -> datetime:
        """When what it says was published."""
        return self.made.published_at


def paper_figures(paper: Paper) -> tuple[Figure, ...]:
    """All figures in the order in which the document prints them."""
    return tuple(figure for section in paper.sections for figure in _figures_of(section.blocks))


def _figures_of(blocks: Sequence[Block]) -> Iterator[Figure]:
    for block in blocks:
        match block:
            case Para(figure=Figure() as figure):
                yield figure
            case FigureRow(figures):
                yield from figures
            case WideChart(block=one):
                yield from one.figures
            case ChartPairs(blocks=charts):
                # Words of two neighbours stand above their charts, the left one's first.
                for one in charts:
                    yield from one.figures
            case Heat(unit_kind=kind, rows=rows):
                for row in rows:
                    yield from row_figures(kind, row)
            case Funnel(name=name, view=view):
                yield Figure(name, "finding", view.finding, None)
            case Grades(block=grades):
                yield from grade_figures(grades)
            case Grid(rows=cells):
                yield from _cell_figures(cells)
            case Kept(blocks=inner):
                yield from _figures_of(inner)


def _cell_figures(rows: Sequence[Sequence[Cell]]) -> Iterator[Figure]:
    for row in rows:
        for cell in row:
            for atom in cell if isinstance(cell, tuple) else (cell,):
                if isinstance(atom, Figure):
                    yield atom
                elif isinstance(atom, Para) and atom.figure:
                    yield atom.figure


def row_figures(unit_kind: str, row: HeatRow) -> tuple[Figure, ...]:
    """One figure for each cell of a unit's row that has a value."""
    return tuple(
        cell_figure(f"{unit_kind}.{row.unit_id}", cell)
        for cell in row.cells
        if cell.value is not None
    )


def cell_figure(unit: str, cell: HeatCell) -> Figure:
    return Figure(
        f"{unit}.{cell.measure_id}.cell",
        cell.short_title,
        words.percent(cell.value),
        cell.value,
        cell.n,
        words.interval(cell.lower, cell.upper),
    )


def grade_figures(block: GradeBlock) -> tuple[Figure, ...]:
    """The block's sentence, then every bar's bands from the lowest."""
    found = [Figure(f"grades.{block.table.id}.finding", "finding", block.sentence, None)]
    for which, bar in zip(("month", "year", "network"), block.bars, strict=False):
        if not bar.n:
            continue
        found += [
            Figure(
                f"grades.{block.table.id}.{which}.{band}",
                bar.band_labels[band],
                f"{words.percent(share)} ({words.whole(count)})",
                share,
                bar.n,
            )
            for band, (share, count) in enumerate(zip(bar.shares, bar.counts, strict=True))
        ]
    return tuple(found)
