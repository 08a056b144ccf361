"""The site's operators: every watched rate with its interval and n, and a state in words."""

from reportlab.platypus import Flowable, KeepTogether

from qa.model.words import PointState
from qa.views import words
from qa.views.heat import HeatCell, HeatRow
from qa.views.pack import SitePack
from reports import look
from reports.draw import FunnelChart, StateWord, draw_mark
from reports.parts import gap, note, section, small, table, text

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


def operator_section(pack: SitePack) -> list[Flowable]:
    """One row for each operator with exams in the month, most urgent first."""
    story = section("operators", "Operators", room=150.0)
    site = pack.site
    if not site.operators:
        none = small(f"No exams in {site.month_text}, so there is no operator to show.")
        return [*story, none, *_funnel(pack)]
    n_measures = len(site.operator_measures)
    headings = ["Operator", *(measure.short_title for measure in site.operator_measures)]
    widths = [NAME_WIDTH] + [(look.WIDTH - NAME_WIDTH) / max(n_measures, 1)] * n_measures
    rows = [[_name(row), *(_cell(cell) for cell in row.cells)] for row in site.operators]
    return [
        *story,
        text(_sentence(pack)),
        gap(4),
        table(headings, rows, widths=widths),
        gap(3),
        note(
            "Filled diamond: look. Hollow diamond: watch. Dot: steady. Ring: too few exams for a "
            "verdict. Wilson 95 % intervals. Rates are as found; marks allow for the patients seen "
            "where the methods say so."
        ),
        *_funnel(pack),
    ]


def _funnel(pack: SitePack) -> list[Flowable]:
    """The site's operators among all of the network over the year."""
    if pack.funnel is None:
        return []
    words_below = (
        "Each ring is an operator of another site. Tinted: where operators lie while nothing but "
        "chance sets them apart (exact 95 % and 99.8 % limits). "
    )
    words_below += pack.funnel.how_text
    finding = text(pack.funnel.finding, is_strong=True)
    return [KeepTogether([gap(12), finding, FunnelChart(pack.funnel), note(words_below)])]


def _sentence(pack: SitePack) -> str:
    """What the table says, made from its states."""
    rows = pack.site.operators
    looks = [row.name for row in rows if row.state == PointState.LOOK]
    n_few = sum(all(cell.state in _FEW for cell in row.cells) for row in rows)
    of_all = f"of {words.counted_word(len(rows), 'operator')} with exams in {pack.site.month_text}"
    if looks:
        asks = "asks" if len(looks) == 1 else "ask"
        names = words.listed(looks[:6]) if len(looks) <= 6 else words.whole(len(looks))
        said = f"{names} {of_all} {asks} for a look"
    else:
        said = f"None {of_all} asks for a look"
    if n_few:
        said += f"; {words.number_word(n_few)} had too few exams for a verdict"
    return said + "."


_FEW = (PointState.FEW.value, PointState.LATE.value, "none")


def _name(row: HeatRow) -> list[Flowable]:
    exams = note(words.counted(row.n_exams, "exam"))
    states = [state.value for state in PointState]
    if row.state not in states:
        return [small(row.name), exams]
    return [small(row.name), StateWord(row.state), exams]


def _cell(cell: HeatCell) -> Flowable:
    return RateCell(cell) if cell.value is not None else note(cell.word)
