"""A drawn series → Plotly figure as a plain dict. Draws only: every number comes from the view."""

from collections.abc import Callable, Sequence

from dashboard.look import (
    BASE,
    LABEL_ROOM,
    LINK,
    LOOK,
    MUTED,
    Figure,
    base_layout,
    note,
    note_lines,
    note_marks,
)
from qa.views import words
from qa.views.drawn import DrawnView
from qa.views.drawn_choice import rules_words
from qa.views.drawn_point import DrawnPoint
from qa.views.shown import ChartNote

# Of more points the quiet ones are drawn small, so that the line can be seen.
MOST_DOTS = 90

CALLED, QUIET, REMOVED = "diamond", "circle", "x-thin-open"
BEGINS = {"baseline": "new baseline", "devices": "other devices"}


def drawn_chart(view: DrawnView, notes: Sequence[ChartNote] = ()) -> Figure:
    """Value, centre line and limits; points outside are diamonds; notes at their days."""
    scale = 100.0 if view.unit == "%" else 1.0
    days = [point.day for point in view.points]

    def heights(part: Callable[[DrawnPoint], float | None]) -> list[float | None]:
        found = [part(point) for point in view.points]
        return [None if one is None else round(one * scale, 4) for one in found]

    step = {"shape": "hvh", "color": MUTED}
    quiet = {"mode": "lines", "hoverinfo": "skip", "showlegend": False, "connectgaps": False}
    lines = [
        {
            **quiet,
            "x": _apart(view, days),
            "y": _apart(view, heights(part)),
            "line": {**step, "width": width},
        }
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
    if view.target is not None and view.points:
        data.append(_target(view, scale))
    layout = _layout(view)
    layout["annotations"] += note_marks(notes)
    layout["shapes"] += note_lines(notes)
    return {"data": data, "layout": layout}


def _apart(view: DrawnView, values: list) -> list:
    """Values with a gap where another part of the series begins."""
    found: list = []
    for number, value in enumerate(values):
        if number and view.points[number].part != view.points[number - 1].part:
            found.append(None)
        found.append(value)
    return found


def _target(view: DrawnView, scale: float) -> Figure:
    """The network's target: dashed, so that it is no limit."""
    ends = [view.points[0].day, view.points[-1].day]
    height = round((view.target or 0.0) * scale, 4)
    return {
        "mode": "lines",
        "x": ends,
        "y": [height, height],
        "line": {"color": LINK, "width": 1.4, "dash": "dash"},
        "hoverinfo": "skip",
        "showlegend": False,
    }


def _points(view: DrawnView, days: list, heights: list[float | None]) -> Figure:
    called = [point.is_outside or bool(point.rules) for point in view.points]
    removed = [point.is_removed for point in view.points]
    quiet_size = 5 if len(days) <= MOST_DOTS else 2
    return {
        "x": _apart(view, days),
        "y": _apart(view, heights),
        "mode": "lines+markers",
        "line": {"width": 1, "color": MUTED},
        "marker": {
            "symbol": _apart(
                view,
                [
                    CALLED if is_called else REMOVED if is_removed else QUIET
                    for is_called, is_removed in zip(called, removed, strict=True)
                ],
            ),
            "color": _apart(view, [LOOK if one else MUTED for one in called]),
            "size": _apart(
                view,
                [
                    10 if is_called else 8 if is_removed else quiet_size
                    for is_called, is_removed in zip(called, removed, strict=True)
                ],
            ),
        },
        "text": _apart(view, [point_words(view, point) for point in view.points]),
        "hovertemplate": "%{text}<extra></extra>",
        "showlegend": False,
        "cliponaxis": False,
    }


def remark(point: DrawnPoint) -> str:
    """What is so about a point, in words; "" where nothing is."""
    parts = ["outside"] if point.is_outside else []
    parts += [rules_words([key]) for key in point.rules]
    if point.is_removed:
        parts.append("taken out of the baseline")
    elif point.is_baseline:
        parts.append("baseline")
    return ", ".join(parts)


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
    said = remark(point)
    return "<br>".join([*lines, *([said] if said else [])])


def _layout(view: DrawnView) -> Figure:
    axis: Figure = {"showgrid": False, "zeroline": False, "fixedrange": True, "ticks": ""}
    layout = base_layout({"l": 48, "r": LABEL_ROOM, "t": 18, "b": 26})
    suffix = " %" if view.unit == "%" else ""
    layout |= {
        "xaxis": {**axis, "type": "date", "tickformat": "%b %y", "tickangle": 0},
        "yaxis": {**axis, "nticks": 5, "ticksuffix": suffix, "showticksuffix": "last"},
        "annotations": _notes(view),
    }
    layout["shapes"] = _grounds(view)
    return layout


def _grounds(view: DrawnView) -> list[Figure]:
    """The ground of each baseline, and a dotted line where another part begins."""
    shapes: list[Figure] = []
    frame = {"xref": "x", "yref": "paper", "y0": 0, "y1": 1, "layer": "below"}
    for part in sorted({point.part for point in view.points}):
        base = [point.day for point in view.points if point.is_baseline and point.part == part]
        if base:
            ends = {"x0": base[0], "x1": base[-1], "fillcolor": BASE, "line": {"width": 0}}
            shapes.append({"type": "rect", **frame, **ends})
    for point in view.points:
        if point.begins:
            line = {"width": 1, "dash": "dot", "color": MUTED}
            shapes.append({"type": "line", **frame, "x0": point.day, "x1": point.day, "line": line})
    return shapes


def _notes(view: DrawnView) -> list[Figure]:
    if not view.points:
        return [note("nothing in this period", x=0.4, xref="paper", y=0.5, yref="paper")]
    unit = [] if view.unit == "%" else [view.unit]
    above = {"yref": "paper", "y": 1, "yanchor": "bottom"}
    notes = [note(one, x=0, xref="paper", **above) for one in unit]
    notes += [
        note(BEGINS[point.begins], x=point.day, **above) for point in view.points if point.begins
    ]
    if view.target is not None:
        height = view.target * (100 if view.unit == "%" else 1)
        text = f"target {number_words(view, view.target)}"
        notes.append(note(text, x=1, xref="paper", xshift=4, y=height, yref="y"))
    return notes
