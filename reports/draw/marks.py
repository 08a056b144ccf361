"""Marks that say a state by shape: filled diamond, hollow diamond, dot, small ring."""

from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from qa.model.words import PointState
from reports import look

STATE_WORDS = {
    PointState.LOOK: "look",
    PointState.WATCH: "watch",
    PointState.STEADY: "steady",
    PointState.FEW: "too few exams",
    PointState.LATE: "late",
}


def draw_mark(canvas: Canvas, state: str, x: float, y: float, *, size: float = 3.6) -> None:
    """Draw the mark of a state around (x, y). size is half a diamond's width in points."""
    if state in (PointState.LOOK, PointState.WATCH):
        _draw_diamond(canvas, x, y, size=size, is_filled=state == PointState.LOOK)
    elif state == PointState.STEADY:
        # A line of no length with round ends is a dot: a tenth of the work and bytes of a circle.
        canvas.setStrokeColor(look.INK)
        canvas.setLineWidth(size * 0.88)
        canvas.setLineCap(1)
        canvas.line(x, y, x, y)
        canvas.setLineCap(0)
    elif state == PointState.FEW:
        canvas.setFillColor(look.PAPER)
        canvas.setStrokeColor(look.MUTED)
        canvas.setLineWidth(0.6)
        canvas.circle(x, y, size * 0.4, stroke=1, fill=1)


def _draw_diamond(canvas: Canvas, x: float, y: float, *, size: float, is_filled: bool) -> None:
    path = canvas.beginPath()
    path.moveTo(x, y + size)
    path.lineTo(x + size, y)
    path.lineTo(x, y - size)
    path.lineTo(x - size, y)
    path.close()
    canvas.setLineWidth(0.9)
    canvas.setStrokeColor(look.LOOK if is_filled else look.INK)
    canvas.setFillColor(look.LOOK if is_filled else look.PAPER)
    canvas.drawPath(path, stroke=1, fill=1)


class StateWord(Flowable):
    """A mark and its word on one line, for table cells."""

    def __init__(self, state: str, word: str = "", *, is_close: bool = False) -> None:
        super().__init__()
        self.state = state
        self.word = word or STATE_WORDS[PointState(state)]
        self.height = look.LEADING[look.SMALL]
        self.indent, self.size = (9.0, 2.8) if is_close else (12.0, 3.6)
        self.width = self.indent + look.text_width(self.word)

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        is_look = self.state == PointState.LOOK
        draw_mark(self.canv, self.state, 4.0, 5.6, size=self.size)
        self.canv.setFont(look.STRONG if is_look else look.REGULAR, look.SMALL)
        self.canv.setFillColor(look.LOOK if is_look else look.INK)
        self.canv.drawString(self.indent, 2.6, self.word)
