"""A distribution over the bands of one table: one row a band, one column a unit, one scale."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from qa.views import words
from qa.views.shown import GradeBar
from reports import look

ROW, TOP_ROW = 16.0, 30.0
VALUE_WIDTH = 78.0


class GradeChart(Flowable):
    """Draws grade bars of the same table side by side; shades go from light to dark in
    order, and a thin line marks the Wilson 95 % interval of each share.

    Args:
        bars: one for each unit or period, all of one grade table.
    """

    def __init__(self, bars: Sequence[GradeBar], *, width: float = look.WIDTH) -> None:
        super().__init__()
        if len({(bar.table_id, bar.band_labels) for bar in bars}) > 1:
            raise ValueError("bars of different grade tables cannot share a chart")
        self.bars = tuple(bars)
        self.width = width
        self.labels = self.bars[0].band_labels if self.bars else ()
        self.height = TOP_ROW + ROW * len(self.labels) + 4

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        if not self.bars:
            return
        canvas = self.canv
        label_width = max(look.text_width(label) for label in self.labels) + look.GUTTER
        column = (self.width - label_width) / len(self.bars)
        highest = max(max((*bar.shares, *bar.upper), default=0.0) for bar in self.bars) or 1.0
        for i, label in enumerate(self.labels):
            canvas.setFont(look.REGULAR, look.SMALL)
            canvas.setFillColor(look.INK)
            canvas.drawString(0, self._row_y(i) + 3, label)
        for j, bar in enumerate(self.bars):
            self._draw_bar(bar, label_width + j * column, column - look.GUTTER, highest)
        canvas.setStrokeColor(look.RULE)
        canvas.setLineWidth(look.HAIRLINE)
        canvas.line(0, self.height - TOP_ROW + 1, self.width, self.height - TOP_ROW + 1)

    def _row_y(self, i: int) -> float:
        return self.height - TOP_ROW - (i + 1) * ROW

    def _draw_bar(self, bar: GradeBar, x: float, width: float, highest: float) -> None:
        canvas = self.canv
        canvas.setFont(look.STRONG, look.SMALL)
        canvas.setFillColor(look.INK)
        canvas.drawString(x, self.height - 11, bar.label)
        canvas.setFont(look.REGULAR, look.SMALL)
        canvas.setFillColor(look.MUTED)
        canvas.drawString(
            x, self.height - 23, f"n = {words.whole(bar.n)}" if bar.n else "no exams graded"
        )
        if not bar.n:
            return
        room = width - VALUE_WIDTH
        n_bands = len(bar.shares)
        for i, (share, count) in enumerate(zip(bar.shares, bar.counts, strict=True)):
            y, length = self._row_y(i), room * share / highest
            canvas.setFillColor(look.tint(0.18 + 0.62 * i / max(n_bands - 1, 1)))
            canvas.rect(x, y + 1.5, max(length, 0.5), ROW - 5, stroke=0, fill=1)
            if bar.upper:
                ends = [x + room * end / highest for end in (bar.lower[i], bar.upper[i])]
                canvas.setStrokeColor(look.MUTED)
                canvas.setLineWidth(look.HAIRLINE)
                canvas.line(ends[0], y + ROW / 2 - 1, ends[1], y + ROW / 2 - 1)
                length = max(length, ends[1] - x)
            canvas.setFillColor(look.INK)
            canvas.drawString(
                x + length + 5, y + 3, f"{words.percent(share)} ({words.whole(count)})"
            )
