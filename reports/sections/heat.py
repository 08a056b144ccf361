"""Units × measures: every watched rate with its interval and n, and a state in words."""

from reportlab.platypus import Flowable

from qa.model.words import PointState
from qa.views import words
from qa.views.heat import HeatCell, HeatRow
from qa.views.paper import Heat
from reports import look
from reports.draw import StateWord, draw_mark
from reports.parts import gap, note, small, table

NAME_WIDTH = 76.0
LINE = look.LEADING[look.SMALL]


class RateCell(Flowable):
    """A mark with a rate, under it the interval, under that n."""

    def __init__(self, cell: HeatCell) -> None:
        super().__init__()
        self.cell = cell
        self.height = 3 * LINE

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        return available_width, self.height

    def draw(self) -> None:
        canvas, cell = self.canv, self.cell
        is_look = cell.state == PointState.LOOK
        base = 2 * LINE + 2.6
        draw_mark(canvas, cell.state, 4.0, base + 3.0, size=3.2)
        canvas.setFont(look.STRONG if is_look else look.REGULAR, look.SMALL)
        canvas.setFillColor(look.LOOK if is_look else look.INK)
        canvas.drawString(10.0, base, words.percent(cell.value))
        canvas.setFont(look.REGULAR, look.SMALL)
        canvas.setFillColor(look.MUTED)
        canvas.drawString(10.0, base - LINE, words.interval(cell.lower, cell.upper))
        canvas.drawString(10.0, base - 2 * LINE, f"n = {words.whole(cell.n)}")


def heat_table(heat: Heat) -> list[Flowable]:
    """One row for each unit, in the order given."""
    n_measures = len(heat.measures)
    headings = [heat.unit_kind.capitalize(), *(measure.short_title for measure in heat.measures)]
    widths = [NAME_WIDTH] + [(look.WIDTH - NAME_WIDTH) / max(n_measures, 1)] * n_measures
    rows = [[_name(row), *(_cell(cell) for cell in row.cells)] for row in heat.rows]
    return [gap(4), table(headings, rows, widths=widths), gap(3)]


def _name(row: HeatRow) -> list[Flowable]:
    exams = note(words.counted(row.n_exams, "exam"))
    states = [state.value for state in PointState]
    if row.state not in states:
        return [small(row.name), exams]
    return [small(row.name), StateWord(row.state), exams]


def _cell(cell: HeatCell) -> Flowable:
    return RateCell(cell) if cell.value is not None else note(cell.word)
