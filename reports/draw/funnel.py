"""A funnel plot: shares against exams, exact limits as curves, own units named."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from qa.model.words import PointState
from qa.views import words
from qa.views.shown import FunnelDot, FunnelView
from reports import look
from reports.draw.axis import Scale, share_range, share_ticks, spread, tick_texts
from reports.draw.marks import draw_mark

LEFT, RIGHT, ABOVE, BELOW = 30.0, 74.0, 8.0, 30.0
MOST_NAMES = 8


class FunnelChart(Flowable):
    """Draws one FunnelView. Own units are dots with names, the others are small rings."""

    def __init__(
        self, view: FunnelView, *, width: float = look.WIDTH, height: float = 122.0
    ) -> None:
        super().__init__()
        self.view = view
        self.width = width
        self.height = height

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        dots = [dot for dot in self.view.dots if dot.plotted is not None]
        canvas = self.canv
        if not dots or not self.view.curve_n:
            canvas.setFont(look.REGULAR, look.SMALL)
            canvas.setFillColor(look.MUTED)
            canvas.drawString(LEFT, self.height / 2, "No exams to compare in this period.")
            return
        largest = max(max(dot.plotted_n for dot in dots), 1)
        inner = [
            u
            for n, u in zip(self.view.curve_n, self.view.ucl998, strict=True)
            if n >= min(dot.plotted_n for dot in dots)
        ]
        values = [dot.plotted or 0.0 for dot in dots]
        ends = share_range(values, self.view.lcl998, inner)
        self.x = Scale(0.0, largest * 1.04, LEFT, self.width - RIGHT)
        self.y = Scale(*ends, BELOW, self.height - ABOVE)
        _draw_limits(self)
        _draw_axes(self, largest)
        _draw_dots(self, dots)


def _curve(chart: FunnelChart, lower: Sequence[float], upper: Sequence[float]) -> None:
    path = chart.canv.beginPath()
    points = list(zip(chart.view.curve_n, upper, strict=True))
    points += list(reversed(list(zip(chart.view.curve_n, lower, strict=True))))
    for i, (n, share) in enumerate(points):
        if i == 0:
            path.moveTo(chart.x.at(n), chart.y.at(share))
        else:
            path.lineTo(chart.x.at(n), chart.y.at(share))
    path.close()
    chart.canv.drawPath(path, stroke=0, fill=1)


def _draw_limits(chart: FunnelChart) -> None:
    """The wide area holds 99.8 % and the darker one 95 % of units that only chance sets apart."""
    canvas, view = chart.canv, chart.view
    canvas.setFillColor(look.BASE)
    _curve(chart, view.lcl998, view.ucl998)
    canvas.setFillColor(look.BAND)
    _curve(chart, view.lcl95, view.ucl95)
    _draw_spread(chart)
    if view.centre is None:
        return
    canvas.setStrokeColor(look.INK)
    canvas.setLineWidth(look.HAIRLINE)
    y = chart.y.at(view.centre)
    canvas.line(LEFT, y, chart.width - RIGHT, y)
    ends = [("network", view.centre), ("95 %", view.ucl95[-1]), ("99.8 %", view.ucl998[-1])]
    heights = spread([chart.y.at(share) for _, share in ends], gap=10.5, low=BELOW + 3)
    canvas.setFont(look.REGULAR, look.SMALL)
    canvas.setFillColor(look.MUTED)
    for (name, share), height in zip(ends, heights, strict=True):
        text = f"{name} {words.percent_number(share)}" if name == "network" else f"limit {name}"
        canvas.drawString(chart.width - RIGHT + 6, height - 3, text)


def _draw_spread(chart: FunnelChart) -> None:
    """Dashed: 99.8 % limits that also allow for how units ordinarily differ."""
    canvas, view = chart.canv, chart.view
    canvas.setStrokeColor(look.MUTED)
    canvas.setLineWidth(look.HAIRLINE)
    canvas.setDash(3, 2)
    for limit in (view.spread_lcl, view.spread_ucl):
        inside = [
            (n, share)
            for n, share in zip(view.curve_n, limit, strict=False)
            if chart.y.low <= share <= chart.y.high
        ]
        if len(inside) < 2:
            continue
        path = canvas.beginPath()
        path.moveTo(chart.x.at(inside[0][0]), chart.y.at(inside[0][1]))
        for n, share in inside[1:]:
            path.lineTo(chart.x.at(n), chart.y.at(share))
        canvas.drawPath(path, stroke=1, fill=0)
    canvas.setDash()


def _draw_axes(chart: FunnelChart, largest: int) -> None:
    canvas = chart.canv
    canvas.setFont(look.REGULAR, look.SMALL)
    canvas.setFillColor(look.MUTED)
    ticks = share_ticks(chart.y.low, chart.y.high)
    for share, label in zip(ticks, tick_texts(ticks), strict=True):
        canvas.drawRightString(LEFT - 5, chart.y.at(share) - 3, label)
    canvas.setStrokeColor(look.RULE)
    canvas.line(LEFT, BELOW, chart.width - RIGHT, BELOW)
    step = _round_step(largest)
    for n in range(0, largest + 1, step):
        canvas.drawCentredString(chart.x.at(n), BELOW - 12, words.whole(n))
    canvas.drawRightString(chart.width - RIGHT, BELOW - 25, chart.view.period_text.rstrip("."))


def _round_step(largest: int) -> int:
    """Example: _round_step(820) → 200"""
    for step in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000):
        if largest / step <= 6:
            return step
    return max(largest // 5, 1)


def _draw_dots(chart: FunnelChart, dots: Sequence[FunnelDot]) -> None:
    canvas = chart.canv
    canvas.setLineWidth(0.6)
    for dot in dots:
        if not dot.is_own:
            canvas.setStrokeColor(look.tint(0.4))
            canvas.circle(
                chart.x.at(dot.plotted_n), chart.y.at(dot.plotted or 0.0), 1.7, stroke=1, fill=0
            )
    own = [dot for dot in dots if dot.is_own]
    _draw_names(chart, own)
    for dot in own:
        state = PointState.STEADY if dot.state == PointState.FEW else dot.state
        draw_mark(
            canvas, state, chart.x.at(dot.plotted_n), chart.y.at(dot.plotted or 0.0), size=4.4
        )


def _draw_names(chart: FunnelChart, own: Sequence[FunnelDot]) -> None:
    """Names beside own units; where there are many, only of those that ask for a look."""
    named = [dot for dot in own if len(own) <= MOST_NAMES or dot.state == PointState.LOOK]
    centre = chart.y.at(chart.view.centre or 0.0)
    heights = spread([chart.y.at(dot.plotted or 0.0) for dot in named], gap=10.5, low=BELOW + 3)
    canvas = chart.canv
    for dot, height in zip(named, heights, strict=True):
        name, is_look = dot.name.split(" (")[0], dot.state == PointState.LOOK
        font = look.STRONG if is_look else look.REGULAR
        x, width = chart.x.at(dot.plotted_n) + 7, look.text_width(name, font=font)
        if x + width > chart.width - RIGHT:
            x -= width + 14
        if abs(height - centre) < 8:
            # The centre line does not run through the name.
            canvas.setFillColor(look.BAND)
            canvas.rect(x - 1, height - 4.5, width + 2, 10, stroke=0, fill=1)
        canvas.setFont(font, look.SMALL)
        canvas.setFillColor(look.LOOK if is_look else look.INK)
        canvas.drawString(x, height - 3, name)
