"""A drawn series → Plotly figure as a plain dict. Draws only: every number comes from the view."""

from collections.abc import Callable

from dashboard.look import BASE, LABEL_ROOM, LINK, LOOK, MUTED, Figure, base_layout, note
from qa.views import words
from qa.views.drawn import DrawnView
from qa.views.drawn_point import DrawnPoint

CALLED, QUIET = "diamond", "circle"


def drawn_chart(view: DrawnView) -> Figure:
    """Value, centre line and limits; points outside are diamonds."""
    scale = 100.0 if view.unit == "%" else 1.0
    days = [point.day for point in view.points]

    def heights(part: Callable[[DrawnPoint], float | None]) -> list[float | None]:
        found = [part(point) for point in view.points]
        return [None if one is None else round(one * scale, 4) for one in found]

    step = {"shape": "hvh", "color": MUTED}
    quiet = {"mode": "lines", "hoverinfo": "skip", "showlegend": False, "connectgaps": False}
    lines = [
        {**quiet, "x": days, "y": heights(part), "line": {**step, "width": width}}
        for part, width in (
            (lambda point: point.ucl, 1),
            (lambda point: point.lcl, 1),
            (lambda point: point.centre, 1.4),
        )
    ]
    data = [*lines, _points(view, days, heights(lambda point: point.value))]
    if any(point.second is not None for point in view.points):
        second = heights(lambda point: point.second)
        data.append({**quiet, "x": days, "y": second, "line": {"color": LINK, "width": 1.4}})
    return {"data": data, "layout": _layout(view)}


def _points(view: DrawnView, days: list, heights: list[float | None]) -> Figure:
    return {
        "x": days,
        "y": heights,
        "mode": "lines+markers",
        "line": {"width": 1, "color": MUTED},
        "marker": {
            "symbol": [CALLED if point.is_outside else QUIET for point in view.points],
            "color": [LOOK if point.is_outside else MUTED for point in view.points],
            "size": [10 if point.is_outside else 5 for point in view.points],
        },
        "text": [point_words(view, point) for point in view.points],
        "hovertemplate": "%{text}<extra></extra>",
        "showlegend": False,
        "cliponaxis": False,
    }


def number_words(view: DrawnView, value: float | None) -> str:
    """A number in the view's unit, in words; a dash where there is none."""
    if value is None:
        return "–"
    return words.percent(value) if view.unit == "%" else words.number(value, decimals=2)


def point_words(view: DrawnView, point: DrawnPoint) -> str:
    """What a point says when it is pointed at: the limit values of this very point too."""
    lines = [f"<b>{point.day:%-d %b %Y}</b>  {number_words(view, point.value)}"]
    if point.centre is not None:
        low, high = number_words(view, point.lcl), number_words(view, point.ucl)
        lines.append(f"expected {number_words(view, point.centre)}, limits {low} to {high}")
    return "<br>".join([*lines, *(["outside"] if point.is_outside else [])])


def _layout(view: DrawnView) -> Figure:
    axis: Figure = {"showgrid": False, "zeroline": False, "fixedrange": True, "ticks": ""}
    layout = base_layout({"l": 48, "r": LABEL_ROOM, "t": 18, "b": 26})
    suffix = " %" if view.unit == "%" else ""
    layout |= {
        "xaxis": {**axis, "type": "date", "tickformat": "%b %y", "tickangle": 0},
        "yaxis": {**axis, "nticks": 5, "ticksuffix": suffix, "showticksuffix": "last"},
        "annotations": _notes(view),
    }
    base = [point.day for point in view.points if point.is_baseline]
    if base:
        ground = {"type": "rect", "xref": "x", "yref": "paper", "y0": 0, "y1": 1}
        ends = {"x0": base[0], "x1": base[-1], "fillcolor": BASE, "line": {"width": 0}}
        layout["shapes"] = [{**ground, **ends, "layer": "below"}]
    return layout


def _notes(view: DrawnView) -> list[Figure]:
    if not view.points:
        return [note("nothing in this period", x=0.4, xref="paper", y=0.5, yref="paper")]
    unit = [] if view.unit == "%" else [view.unit]
    return [note(one, x=0, xref="paper", y=1, yref="paper", yanchor="bottom") for one in unit]
