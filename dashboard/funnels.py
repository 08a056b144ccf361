"""Funnel views → Plotly figures as plain dicts. Draws only: every number comes from the view."""

from collections.abc import Sequence

from dashboard.look import (
    BAND,
    LABEL_ROOM,
    LINK,
    LOOK,
    MUTED,
    SIZES,
    SYMBOLS,
    Figure,
    base_layout,
    note,
    percent_of,
    state_colour,
)
from qa.model.words import PointState
from qa.views import words
from qa.views.shown import FunnelDot, FunnelView


def funnel_chart(view: FunnelView) -> Figure:
    """Dots of all units over n, with exact limits as curves and the names of notable dots."""
    outer = _curve_pair(view, view.lcl998, view.ucl998, fill=BAND)
    inner = _curve_pair(view, view.lcl95, view.ucl95, fill=None)
    data = [*outer, *inner, *_spread(view), *(_dots(view, group) for group in _groups(view))]
    top = max(
        [100 * dot.plotted for dot in view.dots if dot.plotted is not None]
        + [100 * (view.centre or 0) * 2.2, 1.0]
    )
    widest = view.curve_n[-1] if view.curve_n else 10
    percent = {"ticksuffix": " %", "showticksuffix": "last"}
    axis: Figure = {"showgrid": False, "zeroline": False, "fixedrange": True, "ticks": ""}
    layout = base_layout({"l": 44, "r": LABEL_ROOM, "t": 20, "b": 40}) | {
        "xaxis": {**axis, "range": [0, widest], "title": {"text": _x_title(view), "standoff": 6}},
        "yaxis": {**axis, "range": [-0.02 * top, top * 1.12], "nticks": 6, **percent},
        "annotations": _funnel_notes(view),
    }
    return {"data": data, "layout": layout}


def _curve_pair(
    view: FunnelView, lower: Sequence[float], upper: Sequence[float], *, fill: str | None
) -> list[Figure]:
    line = {"width": 1, "color": MUTED, "dash": "solid" if fill else "dot"}
    quiet = {"mode": "lines", "hoverinfo": "skip", "showlegend": False, "line": line}
    low: Figure = {
        **quiet,
        "x": view.curve_n,
        "y": [percent_of(one) for one in lower],
        "opacity": 0.6,
    }
    high: Figure = {
        **quiet,
        "x": view.curve_n,
        "y": [percent_of(one) for one in upper],
        "opacity": 0.6,
    }
    if fill:
        high |= {"fill": "tonexty", "fillcolor": fill}
    return [low, high]


def _x_title(view: FunnelView) -> str:
    return "exams, patients like all" if view.is_adjusted else "exams"


def _spread(view: FunnelView) -> list[Figure]:
    """Dashed: 99.8 % limits that also allow for how units ordinarily differ."""
    line = {"width": 1.2, "color": MUTED, "dash": "dash"}
    return [
        {
            "mode": "lines",
            "hoverinfo": "skip",
            "showlegend": False,
            "line": line,
            "x": view.curve_n,
            "y": [percent_of(one) for one in limit],
        }
        for limit in (view.spread_lcl, view.spread_ucl)
        if limit
    ]


def _groups(view: FunnelView) -> list[tuple[str, list[FunnelDot]]]:
    """Steady first, so that notable dots lie on top."""
    order = [PointState.FEW, PointState.STEADY, PointState.WATCH, PointState.LOOK]
    return [(state, [dot for dot in view.dots if dot.state == state]) for state in order]


def _dots(view: FunnelView, group: tuple[str, list[FunnelDot]]) -> Figure:
    state, dots = group
    known = [dot for dot in dots if dot.plotted is not None]
    return {
        "x": [dot.plotted_n for dot in known],
        "y": [percent_of(dot.plotted) for dot in known],
        "mode": "markers",
        "marker": {
            "symbol": SYMBOLS.get(state, "circle"),
            "size": [11 if dot.is_own else SIZES.get(state, 6) for dot in known],
            "color": [
                LINK if dot.is_own and state != PointState.LOOK else state_colour(state)
                for dot in known
            ],
            "opacity": 1,
        },
        "text": [funnel_text(view, dot) for dot in known],
        "hovertemplate": "%{text}<extra></extra>",
        "showlegend": False,
        "cliponaxis": False,
    }


def funnel_text(view: FunnelView, dot: FunnelDot) -> str:
    share = words.percent_with_interval(dot.value, dot.lower, dot.upper)
    return (
        f"<b>{dot.name}</b>  {share}<br>"
        f"{words.whole(dot.n_events)} of {words.counted(dot.n, 'exam')}, "
        f"all: {words.percent(view.centre)}{_adjusted_text(dot)}"
    )


def _adjusted_text(dot: FunnelDot) -> str:
    if dot.adjusted is None or dot.expected is None:
        return ""
    return (
        f"<br>{words.number(dot.expected)} expected of these patients: {dot.ratio_text} times as "
        f"many<br>adjusted {words.percent(dot.adjusted)}"
    )


def _funnel_notes(view: FunnelView) -> list[Figure]:
    notes: list[Figure] = []
    if view.centre is None:
        return [
            *notes,
            note("No comparison for this month", x=0.4, xref="paper", y=0.5, yref="paper"),
        ]
    end = {"x": 1, "xref": "paper", "xshift": 4, "yref": "y"}
    notes.append(note(f"all {words.percent_number(view.centre)}", y=100 * view.centre, **end))
    if view.ucl998:
        notes.append(note("99.8 %", y=100 * view.ucl998[-1], yshift=6, **end))
        notes.append(note("95 %", y=100 * view.ucl95[-1], yshift=-2, **end))
    named = [dot for dot in view.dots if dot.state == PointState.LOOK or dot.is_own]
    return [*notes, *(_dot_name(dot) for dot in named if dot.plotted is not None)]


def _dot_name(dot: FunnelDot) -> Figure:
    return {
        "text": dot.name.split(" (")[0],
        "x": dot.plotted_n,
        "y": 100 * (dot.plotted or 0),
        "showarrow": False,
        "yshift": 13,
        "font": {"size": 11, "color": LOOK if dot.state == PointState.LOOK else LINK},
    }
