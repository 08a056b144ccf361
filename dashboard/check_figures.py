"""Phantom checks as Plotly figures. Draws only."""

from itertools import groupby

from dashboard.look import (
    BAND,
    LINK,
    MUTED,
    RULE,
    SIZES,
    SYMBOLS,
    Figure,
    base_layout,
    state_colour,
)
from qa.model.words import PointState
from qa.views.check_chart import CheckChartView
from qa.views.equipment import STATES

QUIET = {"mode": "lines", "hoverinfo": "skip", "showlegend": False}


def check_chart(view: CheckChartView) -> Figure:
    """Session means in time; lines join points of one part only."""
    data: list[Figure] = []
    for _, run in groupby(view.points, key=lambda point: point.part):
        points = list(run)
        data += _limits(view, [point for point in points if point.limits and point.centre])
        data.append(_means(view, points))
    layout = base_layout({"l": 48, "r": 20, "t": 10, "b": 36})
    layout["xaxis"] = {"type": "date", "gridcolor": RULE, "zeroline": False}
    layout["yaxis"] = {"title": {"text": view.unit}, "gridcolor": RULE, "zeroline": False}
    return {"data": data, "layout": layout}


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
