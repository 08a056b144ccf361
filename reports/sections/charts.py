"""Control charts, each under the sentence that it argues for."""

from datetime import date

from reportlab.platypus import Flowable, KeepTogether

from qa.views import words
from qa.views.paper import ChartBlock, ChartPairs, WideChart
from qa.views.shown import Figure
from qa.views.worklist import WorkItem
from reports import look
from reports.draw import ControlChart
from reports.parts import gap, grid, note, small, text

HALF_HEIGHT = 96.0


def chart_pairs(pairs: ChartPairs) -> list[Flowable]:
    """Charts two in a row: headings on one line, charts on the next, so that axes are level."""
    blocks, month = pairs.blocks, pairs.month
    story: list[Flowable] = []
    widths = (look.span(3), look.GUTTER, look.span(3))
    for i in range(0, len(blocks), 2):
        left, right = blocks[i], blocks[i + 1] if i + 1 < len(blocks) else None
        row = grid(
            [_half_words(left), [], _half_words(right)],
            [_half(left, month), [], _half(right, month)],
            widths=widths,
        )
        row.spaceBefore = 13.0
        story.append(KeepTogether([row]))
    return story


def wide_chart(wide: WideChart, *, height: float = 128.0) -> list[Flowable]:
    """Finding, figures and chart in full width, and under it what speaks for the finding.

    On page one evidence is kept to one line; the rest stands among the charts.
    """
    block, month, is_lead = wide.block, wide.month, wide.is_lead
    finding, *figures = block.figures
    stake = [figure for figure in figures if figure.name.endswith(".stake")]
    story: list[Flowable] = [gap(8), text(finding.text, is_strong=True)]
    line = figure_line([figure for figure in figures if figure not in stake])
    if line:
        story.append(note(line))
    if block.chart.points:
        story += [gap(4), ControlChart(block.chart, height=height, to_month=month), gap(2)]
    if not is_lead:
        return [*story, *evidence(block)]
    if block.chart.baseline_note and not block.item:
        story.append(note(f"Baseline: {block.chart.baseline_note}"))
    if block.item:
        story.append(text(f"{stake[0].text}. {block.item.since_text}."))
    return story


def evidence(block: ChartBlock, *, is_lead: bool = False) -> list[Flowable]:
    """Why a signal was raised and how its chart is drawn."""
    drawn = f"{block.chart.baseline_text} {block.chart.why_chart}"
    if not block.item:
        return [note(drawn)]
    item = block.item
    if is_lead:
        head = [text(f"Why the chart on page one asks for a look: {_about(block)}", is_strong=True)]
        return [*head, *_item_words(item), note(drawn)]
    return [small(f"{item.stake_text}."), *_item_words(item), note(block.chart.baseline_text)]


def _item_words(item: WorkItem) -> list[Flowable]:
    """The item in sentences, in the order of the Month screen."""
    cause = words.lower_first(words.as_sentence(item.likely))
    also = f"The same cause also shows at: {words.listed(item.also)}." if item.also else ""
    lines = (
        words.as_sentence(f"{item.since_text}. {item.how_sure}"),
        f"Most likely: {cause} {also}",
        f"Probably not: {words.lower_first(item.probably_not)}" if item.probably_not else "",
        f"Next: {words.lower_first(words.as_sentence(item.suggestion))}",
        f"Evidence: {item.evidence}",
    )
    return [small(line.strip()) for line in lines if line.strip()]


def _about(block: ChartBlock) -> str:
    return f"{words.lower_first(block.chart.measure_title)}, {block.chart.unit_name}"


def _half_words(block: ChartBlock | None) -> list[Flowable]:
    if block is None:
        return []
    finding, *figures = block.figures
    line = figure_line(figures)
    told = block.chart.baseline_note
    lines = [note(one) for one in (line, told and f"Baseline: {told}") if one]
    return [small(finding.text, is_strong=True), *lines]


def _half(block: ChartBlock | None, month: date) -> list[Flowable]:
    if block is None:
        return []
    if not block.chart.points:
        return [note("No exams in the last 24 months.")]
    chart = ControlChart(block.chart, width=look.span(3), height=HALF_HEIGHT, to_month=month)
    return [gap(4), chart]


def figure_line(figures: list[Figure]) -> str:
    """Example: '15.2 %, 10.9 to 20.8, n = 184; limits 0.0 to 14.3'"""
    parts = []
    for figure in figures:
        pieces = [figure.text, figure.interval_text]
        if figure.interval_text:
            pieces.append(f"n = {words.whole(figure.n)}")
        parts.append(", ".join(piece for piece in pieces if piece))
    return "; ".join(parts)
