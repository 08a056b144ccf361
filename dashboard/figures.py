"""Chart views → Plotly figures as plain dicts. Draws only: every number comes from the view.

Shares are turned to percent here and nowhere else, because percent is a matter of drawing.
"""

from collections.abc import Sequence
from datetime import date
from itertools import groupby, pairwise

from dashboard.labels import chart_labels, month_edges, small_labels
from dashboard.look import (
    BAND,
    BASE,
    LABEL_ROOM,
    LINK,
    MUTED,
    RULE,
    SIZES,
    SYMBOLS,
    Figure,
    base_layout,
    note_lines,
    note_marks,
    percent_of,
    state_colour,
)
from qa.model.months import add_months, short_month_name
from qa.model.words import Phase, PointState
from qa.views import words
from qa.views.shown import ChartPoint, ChartView

EDGE = 8


def control_chart(
    view: ChartView, *, is_small: bool = False, y_range: tuple[float, float] | None = None
) -> Figure:
    """A control chart: stepped limits, centre, points by state, and what was counted below.

    Args:
        is_small: one of several small charts: no labels, no exam bars.
        y_range: percent, for charts that share one scale; None: fitted to the view.
    """
    low, high = y_range or percent_range([view])
    runs = _runs(view.points)
    data = [
        *(trace for run in runs for trace in _limit_traces(run)),
        _values_trace(view, is_small=is_small),
    ]
    data += _target_traces(view)
    if not is_small:
        data.append(_exam_bars(view))
    layout = _layout(view, low, high, is_small=is_small)
    layout["shapes"] = [*_shapes(view), *note_lines(view.notes)]
    layout["annotations"] = small_labels(view) if is_small else chart_labels(view, low, high)
    layout["annotations"] += [] if is_small else note_marks(view.notes)
    return {"data": data, "layout": layout}


def percent_range(views: Sequence[ChartView]) -> tuple[float, float]:
    """One scale in percent that fits all points and limits of the views.

    Starts at 0 unless all lies in the upper half, where the room would be wasted. Limits of months
    with too few exams may run out of it.
    """
    points = [point for view in views for point in view.points]
    wide = [p for p in points if p.state != PointState.FEW]
    middle = [one for p in points for one in (p.value, p.centre, p.target)]
    highs = [100 * one for one in (*middle, *(p.ucl for p in wide)) if one is not None]
    lows = [100 * one for one in (*middle, *(p.lcl for p in wide)) if one is not None]
    if not highs:
        return 0.0, 10.0
    top, bottom = max(highs), min(lows)
    share = 0.3 if any(p.state == PointState.LOOK for p in points) else 0.15
    if bottom > 0.5 * top:
        room = max(top - bottom, 2.0)
        return max(bottom - 0.15 * room, 0.0), min(top + share * room, 101.0)
    return (-0.02 * top, min(max(top * (1 + share), 2.0), 104.0))


def _runs(points: Sequence[ChartPoint]) -> list[list[ChartPoint]]:
    """Points that one line may join: same criteria set and devices, no month missing."""
    runs: list[list[ChartPoint]] = [[points[0]]] if points else []
    for earlier, later in pairwise(points):
        if later.part == earlier.part and later.month == add_months(earlier.month, 1):
            runs[-1].append(later)
        else:
            runs.append([later])
    return runs


def _limit_traces(run: list[ChartPoint]) -> list[Figure]:
    known = [p for p in run if p.lcl is not None and p.ucl is not None and p.centre is not None]
    if not known:
        return []
    x = [edge for p in known for edge in month_edges(p.month)]
    upper = [percent_of(p.ucl) for p in known for _ in range(2)]
    lower = [percent_of(p.lcl) for p in known for _ in range(2)]
    centre = [percent_of(p.centre) for p in known for _ in range(2)]
    quiet = {"mode": "lines", "hoverinfo": "skip", "showlegend": False}
    band = {"x": x + x[::-1], "y": upper + lower[::-1], "fill": "toself", "fillcolor": BAND}
    traces = [
        {**quiet, **band, "line": {"width": 0, "color": BAND}},
        {**quiet, "x": x, "y": upper, "line": {"width": 1, "color": MUTED}, "opacity": 0.6},
        {**quiet, "x": x, "y": centre, "line": {"width": 1.2, "color": MUTED}},
    ]
    if any(lower):
        traces.insert(2, {**traces[1], "y": lower})
    return traces


def _values_trace(view: ChartView, *, is_small: bool) -> Figure:
    """One line with gaps where months are missing or another criteria set begins."""
    x: list[date | None] = []
    y: list[float | None] = []
    states: list[str] = []
    texts: list[str] = []
    for number, run in enumerate(_runs(view.points)):
        if number:
            x, y = [*x, None], [*y, None]
            states, texts = [*states, ""], [*texts, ""]
        for point in run:
            x.append(point.month)
            y.append(percent_of(point.value))
            states.append(point.state)
            texts.append(point_text(point, view.noun))
    scale = 0.7 if is_small else 1.0
    return {
        "x": x,
        "y": y,
        "mode": "lines+markers",
        "line": {"width": 1, "color": MUTED},
        "marker": {
            "symbol": [SYMBOLS.get(state, "circle") for state in states],
            "size": [scale * SIZES.get(state, 5) for state in states],
            "color": [state_colour(state) for state in states],
            "line": {"width": 1},
            "opacity": 1,
        },
        "text": texts,
        "hovertemplate": "%{text}<extra></extra>",
        "showlegend": False,
        "cliponaxis": False,
    }


def _target_traces(view: ChartView) -> list[Figure]:
    """The network's target: dashed and in another colour, so that it is no limit."""
    known = [point for point in view.points if point.target is not None]
    if not known:
        return []
    return [
        {
            "mode": "lines",
            "x": [edge for point in known for edge in month_edges(point.month)],
            "y": [percent_of(point.target) for point in known for _ in range(2)],
            "line": {"width": 1.4, "dash": "dash", "color": LINK},
            "hoverinfo": "skip",
            "showlegend": False,
        }
    ]


def point_text(point: ChartPoint, noun: str = "exam") -> str:
    """What a point says when it is pointed at."""
    share = words.percent_with_interval(point.value, point.lower, point.upper)
    lines = [
        f"<b>{short_month_name(point.month)}</b>  {share}",
        f"{words.whole(point.n_events)} of {words.counted(point.n, noun)}",
    ]
    if point.centre is not None:
        limits = words.interval(point.lcl, point.ucl)
        lines.append(f"expected {words.percent(point.centre)}, limits {limits}")
    if point.state == PointState.FEW:
        lines.append(f"too few {noun}s")
    elif point.state != PointState.STEADY:
        lines.append(" ".join([point.state, *point.rules]))
    return "<br>".join(lines)


def _exam_bars(view: ChartView) -> Figure:
    return {
        "type": "bar",
        "x": [point.month for point in view.points],
        "y": [point.n for point in view.points],
        "yaxis": "y2",
        "width": 10 * 86_400_000,
        "marker": {"color": RULE, "line": {"width": 0}},
        "text": [words.counted(point.n, view.noun) for point in view.points],
        "textposition": "none",
        "hovertemplate": "%{text}<extra></extra>",
        "showlegend": False,
    }


def _shapes(view: ChartView) -> list[Figure]:
    """The baseline's ground, and a dotted line where another criteria set begins."""
    shapes: list[Figure] = []
    ground = {"type": "rect", "xref": "x", "yref": "y domain", "y0": 0, "y1": 1}
    for _, group in groupby(view.points, key=lambda point: (point.phase, point.baseline_id)):
        months = [point.month for point in group if point.phase == Phase.BASELINE]
        if months:
            ends = {"x0": month_edges(months[0])[0], "x1": month_edges(months[-1])[1]}
            fill = {"fillcolor": BASE, "line": {"width": 0}, "layer": "below"}
            shapes.append({**ground, **ends, **fill})
    shapes += [_unsigned_shape(one.draw_from, one.draw_to) for one in view.unsigned]
    for month in (*view.criteria_breaks, *(month for month, _ in view.other_breaks)):
        edge = month_edges(month)[0]
        line = {"type": "line", "xref": "x", "yref": "y domain", "x0": edge, "x1": edge}
        shapes.append(
            {**line, "y0": 0, "y1": 1, "line": {"width": 1, "dash": "dot", "color": MUTED}}
        )
    return shapes


def _unsigned_shape(first: date, last: date) -> Figure:
    """A bar along the top, from the event to the sign-off."""
    where = {"xref": "x", "yref": "y domain", "x0": first, "x1": last, "y0": 0.97, "y1": 1}
    return {"type": "rect", **where, "fillcolor": LINK, "opacity": 0.55, "line": {"width": 0}}


def _layout(view: ChartView, low: float, high: float, *, is_small: bool) -> Figure:
    months = [point.month for point in view.points]
    x_axis: Figure = {
        "showgrid": False,
        "zeroline": False,
        "fixedrange": True,
        "ticks": "",
        "type": "date",
        "tickformat": "%b %y",
        "tickangle": 0,
    }
    if months:
        x_axis["range"] = [month_edges(months[0])[0], month_edges(months[-1])[1]]
    y_axis = {
        "range": [low, high],
        "showgrid": False,
        "zeroline": False,
        "fixedrange": True,
        "nticks": 5,
        "ticks": "",
        "ticksuffix": " %",
        "showticksuffix": "last",
        "domain": [0, 1] if is_small else [0.17, 1],
    }
    if is_small:
        x_axis["visible"], y_axis["visible"] = False, False
        margin = {"l": 2, "r": 6, "t": 6, "b": 2}
    else:
        x_axis["anchor"] = "y"
        margin = {"l": 40, "r": LABEL_ROOM, "t": 18, "b": EDGE}
    layout = base_layout(margin) | {"xaxis": x_axis, "yaxis": y_axis}
    if not is_small:
        top = max((point.n for point in view.points), default=1)
        layout["yaxis2"] = {
            "domain": [0, 0.05],
            "range": [0, max(top, 1)],
            "visible": False,
            "fixedrange": True,
        }
    return layout
