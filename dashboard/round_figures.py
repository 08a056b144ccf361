"""Scores of rounds and the agreement of pairs as Plotly figures. Draws only."""

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
from qa.views.agreement import AgreementView, PairLimits
from qa.views.round_report import PerformanceLine, ScoreLine

QUIET = {"mode": "lines", "hoverinfo": "skip", "showlegend": False}
LIMITS = ((-3, "dash"), (-2, "dot"), (2, "dot"), (3, "dash"))


def score_chart(scores: tuple[ScoreLine, ...]) -> Figure:
    """One dot for each participant, with the limits of the standard at 2 and 3."""
    known = [one for one in reversed(scores) if one.score is not None]
    layout = base_layout({"l": 20, "r": 20, "t": 10, "b": 36})
    far = 1.1 * max([3.5, *(abs(one.score or 0.0) for one in known)])
    axis = {"title": {"text": "score"}, "gridcolor": RULE, "zeroline": True}
    layout["xaxis"] = {**axis, "range": [-far, far]}
    layout["yaxis"] = {"automargin": True, "gridcolor": RULE, "type": "category"}
    layout["shapes"] = [
        {
            "type": "line",
            "xref": "x",
            "yref": "paper",
            "x0": at,
            "x1": at,
            "y0": 0,
            "y1": 1,
            "line": {"width": 1.2, "color": LINK, "dash": dash},
        }
        for at, dash in LIMITS
    ]
    dots = {
        "x": [one.score for one in known],
        "y": [one.name for one in known],
        "mode": "markers",
        "marker": {
            "symbol": [SYMBOLS.get(one.mark, "circle") for one in known],
            "size": [SIZES.get(one.mark, 7) for one in known],
            "color": [state_colour(one.mark) for one in known],
            "line": {"width": 1},
            "opacity": 1,
        },
        "text": [f"{one.name}: {one.score_text}, {one.verdict}" for one in known],
        "hovertemplate": "%{text}<extra></extra>",
        "showlegend": False,
    }
    return {"data": [dots], "layout": layout}


def past_chart(lines: tuple[PerformanceLine, ...]) -> Figure:
    """Scores over closed rounds, by their last day; who is or was out is named at the right."""
    layout = base_layout({"l": 44, "r": 110, "t": 10, "b": 40})
    far = 1.1 * max([3.5, *(abs(then.score) for one in lines for then in one.past)])
    layout["xaxis"] = {"type": "category", "gridcolor": RULE, "fixedrange": True, "tickangle": 0}
    layout["yaxis"] = {
        "title": {"text": "score"},
        "gridcolor": RULE,
        "zeroline": True,
        "range": [-far, far],
        "fixedrange": True,
    }
    layout["shapes"] = [
        {
            "type": "line",
            "xref": "paper",
            "yref": "y",
            "x0": 0,
            "x1": 1,
            "y0": at,
            "y1": at,
            "line": {"width": 1.2, "color": LINK, "dash": dash},
        }
        for at, dash in LIMITS
    ]
    named = [one for one in lines if one.n_action or one.is_biased]
    layout["annotations"] = [
        note(
            one.name,
            x=one.past[-1].closes_on,
            y=one.past[-1].score,
            xshift=9,
            yanchor="top" if number % 2 else "bottom",
        )
        for number, one in enumerate(named)
    ]
    return {"data": [_past(one) for one in lines], "layout": layout}


def _past(one: PerformanceLine) -> Figure:
    return {
        "x": [then.closes_on for then in one.past],
        "y": [then.score for then in one.past],
        "mode": "lines+markers",
        "line": {"width": 1, "color": INK if one.is_biased else MUTED},
        "marker": {
            "symbol": [SYMBOLS.get(then.mark, "circle") for then in one.past],
            "size": [SIZES.get(then.mark, 6) for then in one.past],
            "color": [state_colour(then.mark) for then in one.past],
            "line": {"width": 1},
            "opacity": 1,
        },
        "text": [
            f"{one.name}, {then.title}: {then.score:+.1f}, {then.verdict}" for then in one.past
        ],
        "hovertemplate": "%{text}<extra></extra>",
        "showlegend": False,
        "cliponaxis": False,
    }


def agreement_chart(view: AgreementView) -> Figure:
    """Difference over mean of each pair (Bland and Altman), limits with their intervals."""
    data = [trace for part in view.limits for trace in _limits(part)]
    data.append(
        {
            "x": [one.mean for one in view.points],
            "y": [one.difference for one in view.points],
            "mode": "markers",
            "marker": {"size": 5, "color": INK, "opacity": 0.55},
            "text": [
                f"<b>{one.exam_on}</b><br>mean {one.mean:.1f}, second less first "
                f"{one.difference:+.1f} kPa"
                for one in view.points
            ],
            "hovertemplate": "%{text}<extra></extra>",
            "showlegend": False,
        }
    )
    layout = base_layout({"l": 48, "r": 20, "t": 10, "b": 44})
    ticks = {
        "tickvals": [2, 3, 5, 9, 15, 25, 50],
        "ticktext": ["2", "3", "5", "9", "15", "25", "50"],
    }
    layout["xaxis"] = {
        "type": "log",
        "title": {"text": "mean of the pair, kPa"},
        "gridcolor": RULE,
        **ticks,
        "fixedrange": True,
    }
    layout["yaxis"] = {
        "title": {"text": "second less first, kPa"},
        "gridcolor": RULE,
        "zeroline": True,
        "zerolinecolor": RULE,
        "fixedrange": True,
    }
    return {"data": data, "layout": layout}


def _limits(part: PairLimits) -> list[Figure]:
    """Mean and both limits of one range: a band for each interval, a line for each value."""
    x, found = [part.x0, part.x1], part.found
    traces: list[Figure] = []
    for value, (low, high), dash in (
        (found.mean, found.mean_interval, "solid"),
        (found.lower, found.lower_interval, "dash"),
        (found.upper, found.upper_interval, "dash"),
    ):
        band = {"x": x + x[::-1], "y": [high, high, low, low], "fill": "toself", "fillcolor": BAND}
        traces.append({**QUIET, **band, "line": {"width": 0, "color": BAND}})
        line = {"width": 1.4, "color": LINK, "dash": dash}
        traces.append({**QUIET, "x": x, "y": [value, value], "line": line})
    return traces
