"""A control chart: stepped limits as a tinted area, thin centre line, small points, exams below."""

from datetime import date
from itertools import groupby, pairwise

from reportlab.platypus import Flowable

from qa.model.months import add_months, month_name, months_between
from qa.model.words import Phase, PointState
from qa.views import words
from qa.views.shown import ChartPoint, ChartView
from reports import look
from reports.draw.axis import (
    Scale,
    month_label,
    share_range,
    share_ticks,
    spread,
    tick_texts,
)
from reports.draw.marks import draw_mark

LEFT, RIGHT, BELOW = 30.0, 76.0, 32.0
ABOVE, ABOVE_WORDS = 6.0, 14.0
LABEL_GAP = 10.5
LEAST_MONTHS = 12


class ControlChart(Flowable):
    """Draws one ChartView.

    Args:
        view: what to draw; its finding stands above the chart as a heading, not in it.
        width, height: points.
        to_month: last month of the axis; a month without exams is named there.
        ends: ends of the share axis (0 to 1) where several charts share one scale.
    """

    def __init__(
        self,
        view: ChartView,
        *,
        width: float = look.WIDTH,
        height: float = 150.0,
        to_month: date | None = None,
        ends: tuple[float, float] | None = None,
    ) -> None:
        super().__init__()
        self.view = view
        self.width = width
        self.height = height
        self.points = tuple(view.points)
        self.first = self.points[0].month if self.points else to_month
        last = self.points[-1].month if self.points else to_month
        self.last = max(last, to_month) if last and to_month else last
        if self.first and self.last:
            self.first = min(self.first, add_months(self.last, 1 - LEAST_MONTHS))
        self.low, self.high = ends or chart_ends(view)

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        if self.first is None or self.last is None:
            _write(self, f"No {self.view.noun}s yet.", LEFT, self.height / 2)
            return
        n_months = months_between(self.first, self.last) + 1
        self.slot = (self.width - LEFT - RIGHT) / n_months
        above = ABOVE_WORDS if self._has_words_above() else ABOVE
        self.y = Scale(self.low, self.high, BELOW, self.height - above)
        _draw_ground(self)
        _draw_y_axis(self)
        _draw_x_axis(self)
        _draw_exams(self)
        _draw_target(self)
        _draw_line(self)
        _draw_points(self)
        _draw_end_labels(self)
        _draw_criteria_breaks(self)

    def _has_words_above(self) -> bool:
        has_baseline = any(p.phase == Phase.BASELINE for p in self.points)
        is_late = not self.points or self.points[-1].month != self.last
        return has_baseline or is_late or bool(_breaks(self.view))

    def x_at(self, month: date) -> float:
        """Middle of a month's slot."""
        assert self.first is not None
        return LEFT + (months_between(self.first, month) + 0.5) * self.slot


def chart_ends(view: ChartView) -> tuple[float, float]:
    """Ends of the share axis that a chart needs by itself."""
    return share_range(
        [
            share
            for point in view.points
            for share in (point.value, point.target)
            if share is not None
        ],
        [point.lcl for point in view.points if point.lcl is not None],
        [point.ucl for point in view.points if point.ucl is not None],
    )


def _write(chart: ControlChart, text: str, x: float, y: float, *, is_right: bool = False) -> None:
    canvas = chart.canv
    canvas.setFont(look.REGULAR, look.SMALL)
    canvas.setFillColor(look.MUTED)
    if is_right:
        canvas.drawRightString(x, y, text)
    else:
        canvas.drawString(x, y, text)


def _draw_ground(chart: ControlChart) -> None:
    """Baseline part, limits and centre; each steps in the middle between two months."""
    canvas, half = chart.canv, chart.slot / 2
    for _, group in groupby(chart.points, key=lambda p: (p.phase, p.baseline_id)):
        baseline = [p for p in group if p.phase == Phase.BASELINE]
        if not baseline:
            continue
        start, end = chart.x_at(baseline[0].month) - half, chart.x_at(baseline[-1].month) + half
        canvas.setFillColor(look.BASE)
        canvas.rect(start, BELOW, end - start, chart.height - BELOW, stroke=0, fill=1)
        is_named = baseline[0].month in dict(chart.view.other_breaks)
        if end - start > 44 and not is_named:
            _write(chart, "baseline", start + 3, chart.height - 9.5)
    limited = [p for p in chart.points if p.lcl is not None and p.ucl is not None]
    canvas.setFillColor(look.BAND)
    for p in limited:
        low, high = chart.y.at(p.lcl or 0.0), chart.y.at(1.0 if p.ucl is None else p.ucl)
        x = chart.x_at(p.month)
        canvas.rect(x - half, low, chart.slot + 0.15, high - low, stroke=0, fill=1)
    canvas.setLineWidth(look.HAIRLINE)
    canvas.setStrokeColor(look.tint(0.38))
    _draw_steps(chart, [(p.month, p.ucl if (p.ucl or 0) < chart.high else None) for p in limited])
    _draw_steps(chart, [(p.month, p.lcl if (p.lcl or 0) > chart.low else None) for p in limited])
    canvas.setStrokeColor(look.INK)
    _draw_steps(chart, [(p.month, p.centre) for p in chart.points])


def _draw_steps(chart: ControlChart, steps: list[tuple[date, float | None]]) -> None:
    """A stepped line; months without a value leave a gap."""
    path, half = chart.canv.beginPath(), chart.slot / 2
    before: date | None = None
    for month, value in steps:
        if value is None:
            before = None
            continue
        x, y = chart.x_at(month), chart.y.at(value)
        if before is None or months_between(before, month) != 1:
            path.moveTo(x - half, y)
        else:
            path.lineTo(x - half, y)
        path.lineTo(x + half, y)
        before = month
    chart.canv.drawPath(path, stroke=1, fill=0)


def _draw_y_axis(chart: ControlChart) -> None:
    ticks = share_ticks(chart.low, chart.high)
    for share, label in zip(ticks, tick_texts(ticks), strict=True):
        _write(chart, label, LEFT - 5, chart.y.at(share) - 3, is_right=True)


def _draw_x_axis(chart: ControlChart) -> None:
    """Month names, counted back from the last month so that it is always named."""
    assert chart.first is not None
    assert chart.last is not None
    step = next((n for n in (1, 3, 6, 12) if n * chart.slot >= 33), 12)
    n_months = months_between(chart.first, chart.last) + 1
    for back in range(0, n_months, step):
        month = add_months(chart.last, -back)
        has_year = back % 12 == 0 or n_months <= step
        text = month_label(month, has_year=has_year)
        x = chart.x_at(month) - look.text_width(text) / 2
        _write(chart, text, x, BELOW - 12)
    canvas = chart.canv
    canvas.setStrokeColor(look.RULE)
    canvas.setLineWidth(look.HAIRLINE)
    canvas.line(LEFT, BELOW, chart.width - RIGHT, BELOW)


def _draw_exams(chart: ControlChart) -> None:
    """Exams a month as tiny bars under the axis."""
    most = max((p.n for p in chart.points), default=0)
    if not most:
        return
    chart.canv.setFillColor(look.tint(0.28))
    width = min(chart.slot * 0.5, 4.0)
    for p in chart.points:
        height = 8.0 * p.n / most
        x = chart.x_at(p.month) - width / 2
        chart.canv.rect(x, 2.0, width, height, stroke=0, fill=1)
    _write(chart, f"{chart.view.noun}s, most {most}", chart.width - RIGHT + 6, 2.5)


def _draw_target(chart: ControlChart) -> None:
    """The network's target, dashed: what is wanted, not what chance does."""
    canvas = chart.canv
    canvas.setStrokeColor(look.INK)
    canvas.setLineWidth(0.8)
    canvas.setDash(4, 2)
    _draw_steps(chart, [(p.month, p.target) for p in chart.points])
    canvas.setDash()


def _draw_line(chart: ControlChart) -> None:
    """Joins neighbouring months of one criteria set and the same devices; never across."""
    canvas = chart.canv
    canvas.setStrokeColor(look.tint(0.62))
    canvas.setLineWidth(look.HAIRLINE)
    path = canvas.beginPath()
    for a, b in pairwise(chart.points):
        is_next = months_between(a.month, b.month) == 1 and a.part == b.part
        if is_next and a.value is not None and b.value is not None:
            path.moveTo(chart.x_at(a.month), chart.y.at(a.value))
            path.lineTo(chart.x_at(b.month), chart.y.at(b.value))
    canvas.drawPath(path, stroke=1, fill=0)


def _draw_points(chart: ControlChart) -> None:
    size = min(3.6, max(2.4, chart.slot * 0.42))
    for p in chart.points:
        if p.value is not None:
            draw_mark(chart.canv, p.state, chart.x_at(p.month), chart.y.at(p.value), size=size)
    looks = [p for p in chart.points if p.state == PointState.LOOK]
    if looks and looks[-1] is not chart.points[-1]:
        _label_point(chart, looks[-1])
    shown = {p.month for p in chart.points if p.value is not None}
    if chart.last not in shown and chart.last is not None:
        text = f"no {chart.view.noun}s in {month_name(chart.last)}"
        _write(chart, text, chart.width - RIGHT - 4, chart.height - 9.5, is_right=True)


def _label_point(chart: ControlChart, point: ChartPoint) -> None:
    """Value beyond its point, away from the centre line; the last month's is an end label."""
    if point.value is None:
        return
    canvas, label = chart.canv, words.percent(point.value)
    x, y = chart.x_at(point.month), chart.y.at(point.value)
    width = look.text_width(label, font=look.STRONG)
    is_low = point.centre is not None and point.value < point.centre
    y_text = y - 13.0 if is_low or y + 13.0 > chart.height else y + 6.0
    canvas.setFont(look.STRONG, look.SMALL)
    canvas.setFillColor(look.LOOK)
    canvas.drawString(min(x - width / 2, chart.width - RIGHT - width), y_text, label)


def _draw_end_labels(chart: ControlChart) -> None:
    """Last value, mean and limits named at the line's end instead of a legend."""
    if not chart.points:
        return
    last = chart.points[-1]
    room = 0.06 * (chart.high - chart.low)
    value = last.value if last.month == chart.last else None
    labels = [("", value), ("mean", last.centre)]
    labels += [("target", last.target)]
    labels += [("limit", last.ucl if last.ucl is not None and last.ucl < 1 else None)]
    labels += [
        ("limit", last.lcl if last.lcl is not None and last.lcl > chart.low + room else None)
    ]
    shown = [(name, value) for name, value in labels if value is not None]
    if last.centre is None:
        _write(chart, "no limits yet", chart.width - RIGHT + 6, chart.height - 9.5)
    heights = spread([chart.y.at(value) for _, value in shown], gap=LABEL_GAP, low=BELOW)
    x = chart.width - RIGHT + 6
    for (name, value), height in zip(shown, heights, strict=True):
        if name:
            _write(chart, f"{name} {words.percent_number(value)}", x, height - 3)
            continue
        is_look = last.state == PointState.LOOK
        chart.canv.setFont(look.STRONG, look.SMALL)
        chart.canv.setFillColor(look.LOOK if is_look else look.INK)
        chart.canv.drawString(x, height - 3, words.percent(value))


def _breaks(view: ChartView) -> list[tuple[date, str]]:
    return [*((month, "new criteria") for month in view.criteria_breaks), *view.other_breaks]


def _draw_criteria_breaks(chart: ControlChart) -> None:
    """A dashed line where another criteria set, other devices or a new baseline begin."""
    canvas = chart.canv
    for month, label in _breaks(chart.view):
        x = chart.x_at(month) - chart.slot / 2
        canvas.setStrokeColor(look.MUTED)
        canvas.setLineWidth(look.HAIRLINE)
        canvas.setDash(2, 2)
        canvas.line(x, BELOW, x, chart.height)
        canvas.setDash()
        is_right = x + 4 + look.text_width(label) > chart.width - RIGHT
        _write(chart, label, x - 4 if is_right else x + 4, chart.height - 9.5, is_right=is_right)
