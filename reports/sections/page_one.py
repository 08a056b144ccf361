"""Page one: the month in words, figures, the chart that matters, changes, and asks."""

from collections.abc import Sequence
from dataclasses import replace

from reportlab.platypus import Flowable, HRFlowable

from qa.views import words
from qa.views.paper import Block, FigureRow, WideChart
from qa.views.shown import Figure
from reports import look
from reports.parts import gap, grid, note, small, stacked_height, text
from reports.sections.charts import wide_chart

LEAST_CHART, MOST_CHART = 92.0, 160.0


def lead_height(before: Sequence[Flowable], after: Sequence[Flowable], *, sheet: look.Sheet):
    """Height of a chart that fills page one between the flowables above and below it."""
    room = sheet.top - look.BOTTOM - 2.0
    return min(max(room - stacked_height([*before, *after]), LEAST_CHART), MOST_CHART)


def hairline() -> HRFlowable:
    return HRFlowable(
        width="100%", thickness=look.HAIRLINE, color=look.RULE, spaceBefore=0, spaceAfter=0
    )


def figure_row(block: FigureRow) -> list[Flowable]:
    """Figures side by side, each with its interval, its n and what to hold it against."""
    figures = block.figures
    last = look.COLUMN + 20.0
    others = (look.WIDTH - last) / max(len(figures) - 1, 1)
    widths = [others] * (len(figures) - 1) + [last]
    return [
        gap(6),
        hairline(),
        gap(8),
        grid([_figure(figure) for figure in figures], widths=widths),
        gap(10),
        hairline(),
        gap(8),
    ]


def _figure(figure: Figure) -> list[Flowable]:
    lines: list[Flowable] = [
        text(figure.text, size=look.HEAD, is_strong=True),
        small(figure.label),
    ]
    if figure.interval_text:
        lines += [note(figure.interval_text), note(f"n = {words.whole(figure.n)}")]
    if figure.beside:
        lines.append(note(figure.beside))
    return lines


def split_at_lead(
    blocks: Sequence[Block],
) -> tuple[Sequence[Block], WideChart | None, Sequence[Block]]:
    """Blocks above the chart of page one, the chart, and blocks below."""
    for i, block in enumerate(blocks):
        if isinstance(block, WideChart) and block.is_lead:
            return blocks[:i], block, blocks[i + 1 :]
    return blocks, None, ()


def lead_chart(block: WideChart, *, height: float) -> list[Flowable]:
    return wide_chart(replace(block, is_lead=True), height=height)
