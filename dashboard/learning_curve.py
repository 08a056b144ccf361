"""A learning curve → Plotly figure as a plain dict; every number comes from the view."""

from dashboard.look import INK, LABEL_ROOM, LINK, MUTED, Figure, base_layout, note, percent_of
from qa.views import words
from qa.views.learning import LearningPoint, LearningView


def learning_curve(view: LearningView) -> Figure:
    """Share of reliable exams over exams so far, with intervals and the share of all."""
    points = view.points
    axis: Figure = {"showgrid": False, "zeroline": False, "fixedrange": True, "ticks": ""}
    lowest = min((100 * point.lower for point in points), default=0.0)
    widest = points[-1].n_so_far if points else view.experienced_at
    layout = base_layout({"l": 44, "r": LABEL_ROOM, "t": 18, "b": 40}) | {
        "xaxis": {
            **axis,
            "range": [0, widest * 1.03],
            "title": {"text": "judged exams so far", "standoff": 6},
        },
        "yaxis": {
            **axis,
            "range": [max(lowest - 8, 0), 102],
            "nticks": 6,
            "ticksuffix": " %",
            "showticksuffix": "last",
        },
        "shapes": _lines(view),
        "annotations": _labels(view),
    }
    return {"data": [_points(points)], "layout": layout}


def _points(points: tuple[LearningPoint, ...]) -> Figure:
    share = [percent_of(point.share) for point in points]
    return {
        "x": [point.n_so_far for point in points],
        "y": share,
        "mode": "lines+markers",
        "line": {"width": 1, "color": MUTED},
        "marker": {"size": 6, "color": INK},
        "error_y": {
            "type": "data",
            "symmetric": False,
            "array": [percent_of(point.upper - point.share) for point in points],
            "arrayminus": [percent_of(point.share - point.lower) for point in points],
            "color": MUTED,
            "thickness": 1,
            "width": 0,
        },
        "text": [point_text(point) for point in points],
        "hovertemplate": "%{text}<extra></extra>",
        "showlegend": False,
        "cliponaxis": False,
    }


def point_text(point: LearningPoint) -> str:
    share = words.percent_with_interval(point.share, point.lower, point.upper)
    return (
        f"<b>{point.months_text}</b>  {share}<br>{point.n_reliable} of "
        f"{words.counted(point.n, 'exam')}, {words.whole(point.n_so_far)} so far"
    )


def _lines(view: LearningView) -> list[Figure]:
    up: Figure = {"type": "line", "xref": "x", "yref": "y domain", "y0": 0, "y1": 1}
    at = {"x0": view.experienced_at, "x1": view.experienced_at}
    shapes = [{**up, **at, "line": {"width": 1, "dash": "dot", "color": MUTED}}]
    if view.all_share is not None:
        across: Figure = {"type": "line", "xref": "x domain", "yref": "y", "x0": 0, "x1": 1}
        level = percent_of(view.all_share)
        line = {"width": 1.2, "dash": "dash", "color": LINK}
        shapes.append({**across, "y0": level, "y1": level, "line": line})
    return shapes


def _labels(view: LearningView) -> list[Figure]:
    top = {"yref": "y domain", "y": 0.02, "yanchor": "bottom", "xanchor": "left", "xshift": 3}
    labels = [note(f"{view.experienced_at} exams", x=view.experienced_at, **top)]
    if view.all_share is not None:
        where = {"xref": "x domain", "x": 1, "y": percent_of(view.all_share), "xshift": 6}
        labels.append(note(f"all {words.percent(view.all_share)}", **where))
    return labels
