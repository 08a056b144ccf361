"""Scores of a round: one line a participant on one scale, with the limits at 2 and 3."""

from reportlab.platypus import Flowable

from qa.views.paper import Scores
from reports import look
from reports.draw.marks import draw_mark

ROW, FOOT = 15.0, 22.0
NAME_WIDTH, WORD_WIDTH = 170.0, 70.0
LEAST_REACH = 4.0
LIMITS = (2.0, 3.0)


class ScoreChart(Flowable):
    """Draws the scores of a round; what lies beyond the scale is drawn at its end, with a sign."""

    def __init__(self, scores: Scores, *, width: float = look.WIDTH) -> None:
        super().__init__()
        self.lines = scores.lines
        self.width = width
        self.height = ROW * len(self.lines) + FOOT

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        canvas = self.canv
        left, right = NAME_WIDTH, self.width - WORD_WIDTH
        middle, half = (left + right) / 2, (right - left) / 2
        scale = half / LEAST_REACH
        canvas.setLineWidth(look.HAIRLINE)
        for limit, dash in ((0.0, ()), *((one, (3, 2)) for one in LIMITS)):
            for side in (-1, 1):
                canvas.setStrokeColor(look.MUTED)
                canvas.setDash(*dash)
                x = middle + side * limit * scale
                canvas.line(x, FOOT - 6, x, self.height)
                self._label(x, f"{side * limit:+g}" if limit else "0")
        canvas.setDash()
        for i, (name, score, state, _) in enumerate(self.lines):
            y = self.height - ROW * i - ROW / 2
            reach = max(-LEAST_REACH, min(LEAST_REACH, score))
            draw_mark(canvas, state, middle + reach * scale, y)
            canvas.setFont(look.REGULAR, look.SMALL)
            canvas.setFillColor(look.INK)
            canvas.drawString(0, y - 3, name)
            beyond = " (beyond)" if abs(score) > LEAST_REACH else ""
            canvas.drawString(right + 8, y - 3, f"{score:+.1f}{beyond}")

    def _label(self, x: float, words: str) -> None:
        self.canv.setFont(look.REGULAR, look.SMALL)
        self.canv.setFillColor(look.MUTED)
        self.canv.drawCentredString(x, 4, words)
