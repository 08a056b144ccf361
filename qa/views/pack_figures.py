"""Every figure that a site pack prints, in the order of printing; what a manifest records."""

from qa.views import words
from qa.views.heat import HeatCell, HeatRow
from qa.views.pack import SitePack
from qa.views.pack_grades import GradeBlock
from qa.views.shown import Figure


def pack_figures(pack: SitePack) -> tuple[Figure, ...]:
    """All figures in the order in which the pack prints them.

    Sentences made from figures are figures as well, without a value of their own.
    """
    found = [pack.answer, *pack.site.figures]
    if pack.lead_chart:
        found += pack.lead_chart.figures
    found += [
        Figure(f"change.{i}", "what changed", text, None) for i, text in enumerate(pack.changes)
    ]
    found += [Figure(f"ask.{i}", "asked", ask.why, None) for i, ask in enumerate(pack.asks)]
    quality = [block for block in pack.site_charts if not block.chart.is_grade]
    raised = [block for block in pack.site_charts if block.chart.is_grade]
    for block in (*pack.item_charts, *quality):
        found += block.figures
    for row in pack.site.operators:
        found += operator_figures(row)
    if pack.funnel:
        found.append(Figure("operators.funnel", "finding", pack.funnel.finding, None))
    found.append(Figure("repeats.followed_up", "repeats", pack.repeats.sentence, None))
    for grade_block in pack.grades:
        found += grade_figures(grade_block)
    for block in raised:
        found += block.figures
    found += [Figure(f"exam.{exam.key}", exam.outcome, exam.why, None) for exam in pack.exams]
    return tuple(found)


def operator_figures(row: HeatRow) -> tuple[Figure, ...]:
    """One figure for each cell of an operator's row that has a value."""
    return tuple(cell_figure(row.unit_id, cell) for cell in row.cells if cell.value is not None)


def cell_figure(operator_id: str, cell: HeatCell) -> Figure:
    return Figure(
        f"operator.{operator_id}.{cell.measure_id}.cell",
        cell.short_title,
        words.percent(cell.value),
        cell.value,
        cell.n,
        words.interval(cell.lower, cell.upper),
    )


def grade_figures(block: GradeBlock) -> tuple[Figure, ...]:
    """The block's sentence, then every bar's bands from the lowest."""
    found = [Figure(f"grades.{block.table.id}.finding", "finding", block.sentence, None)]
    for which, bar in zip(("month", "year", "network"), block.bars, strict=True):
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
