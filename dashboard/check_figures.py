"""Phantom checks as Plotly figures. Draws only."""

from itertools import groupby

from dashboard.look import (
    BAND,
    INK,
    LINK,
    MUTED,
    RULE,
    SIZES,
    SYMBOLS,
    Figure,
    base_layout,
    note,
    state_colour,
)
from qa.model.words import PointState
from qa.views.check_chart import CheckChartView
from qa.views.equipment import STATES

AXIS = {"gridcolor": RULE, "zeroline": False, "fixedrange": True}
QUIET = {"mode": "lines", "hoverinfo": "skip", "showlegend": False}


def check_chart(view: CheckChartView) -> Figure:
    """Session means over their standard deviations in time; lines join points of one part only.

    Above: three-sigma limits of single means as a band, warning and action limits, the X-bar
    chart's limits by session. Below: standard deviations with the S chart's limits.
    """
    data: list[Figure] = []
    for _, run in groupby(view.points, key=lambda point: point.part):
        points = list(run)
        data += _limits(view, [point for point in points if point.limits and point.centre])
        data += _steps(points, "mean_limits", "y")
        data += _steps(points, "sd_limits", "y2")
        data += [_means(view, points), _spreads(view, points)]
    layout = base_layout({"l": 56, "r": 20, "t": 10, "b": 36})
    layout["xaxis"] = {**AXIS, "type": "date", "anchor": "y2"}
    layout["yaxis"] = {**AXIS, "title": {"text": f"mean, {view.unit}"}, "domain": [0.40, 1]}
    layout["yaxis2"] = {
        **AXIS,
        "title": {"text": f"sd, {view.unit}"},
        "domain": [0, 0.28],
        "rangemode": "tozero",
    }
    layout["shapes"] = [_event_line(str(day)) for day, _ in view.events]
    layout["annotations"] = [
        note(words, x=str(day), y=1, yref="paper", xshift=4, yanchor="top")
        for day, words in view.events
    ]
    return {"data": data, "layout": layout}


def _event_line(day: str) -> Figure:
    ends = {"xref": "x", "yref": "paper", "x0": day, "x1": day, "y0": 0, "y1": 1}
    return {"type": "line", **ends, "line": {"width": 1, "color": MUTED, "dash": "dot"}}


def _limits(view: CheckChartView, points: list) -> list[Figure]:
    if not points:
        return []
    x = [points[0].session.day, points[-1].session.day]
    low, high = points[0].limits
    band = {"x": x + x[::-1], "y": [high, high, low, low], "fill": "toself", "fillcolor": BAND}
    lines = [{**QUIET, **band, "line": {"width": 0, "color": BAND}}]
    centre = points[0].centre
    lines.append({**QUIET, "x": x, "y": [centre] * 2, "line": {"width": 1.2, "color": MUTED}})
    for share, dash in ((view.warn_share, "dot"), (view.act_share, "dash")):
        for side in (1 - share, 1 + share):
            line = {"width": 1.2, "dash": dash, "color": LINK}
            lines.append({**QUIET, "x": x, "y": [centre * side] * 2, "line": line})
    return lines


def _steps(points: list, name: str, axis: str) -> list[Figure]:
    """Lower and upper limit of each session that has some: they step with its measurements."""
    known = [(one.session.day, getattr(one, name)) for one in points if getattr(one, name)]
    if not known:
        return []
    line = {"width": 1, "color": MUTED, "dash": "longdash", "shape": "hvh"}
    days = [day for day, _ in known]
    return [
        {**QUIET, "x": days, "y": [found[side] for _, found in known], "line": line, "yaxis": axis}
        for side in (0, 1)
    ]


def _spreads(view: CheckChartView, points: list) -> Figure:
    known = [one for one in points if len(one.session.values) > 1]
    outside = [
        bool(one.sd_limits and not one.sd_limits[0] <= one.session.sd <= one.sd_limits[1])
        for one in known
    ]
    return {
        "x": [one.session.day for one in known],
        "y": [one.session.sd for one in known],
        "yaxis": "y2",
        "mode": "lines+markers",
        "line": {"width": 1, "color": MUTED},
        "marker": {
            "symbol": ["diamond-open" if one else "circle" for one in outside],
            "size": [9 if one else 5 for one in outside],
            "color": INK,
        },
        "text": [
            f"<b>{one.session.day}</b>  sd {one.session.sd:.3g} {view.unit} of "
            f"{len(one.session.values)}"
            for one in known
        ],
        "hovertemplate": "%{text}<extra></extra>",
        "showlegend": False,
        "cliponaxis": False,
    }


def _means(view: CheckChartView, points: list) -> Figure:
    marks = [str(STATES.get(point.state, PointState.FEW)) for point in points]
    return {
        "x": [point.session.day for point in points],
        "y": [point.session.mean for point in points],
        "mode": "lines+markers",
        "line": {"width": 1, "color": MUTED},
        "marker": {
            "symbol": [SYMBOLS.get(mark, "circle") for mark in marks],
            "size": [SIZES.get(mark, 6) for mark in marks],
            "color": [state_colour(mark) for mark in marks],
            "line": {"width": 1},
            "opacity": 1,
        },
        "text": [
            f"<b>{point.session.day}</b>  {point.session.mean:.4g} {view.unit}<br>{point.state}"
            for point in points
        ],
        "hovertemplate": "%{text}<extra></extra>",
        "showlegend": False,
        "cliponaxis": False,
    }
