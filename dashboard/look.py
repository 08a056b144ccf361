"""Colours and sizes of charts. Figures are built in the light set; assets/theme.js swaps the dark
set in by these very values, and assets/look.css holds the same tokens for the page.
"""

from collections.abc import Sequence
from html import escape
from typing import Any

from qa.model.words import PointState
from qa.views.shown import ChartNote

Figure = dict[str, Any]

PAPER, INK, MUTED = "#fbfaf6", "#1b2430", "#5d6673"
RULE, BAND, BASE = "#ddd9cf", "#efece3", "#f5f2ea"
LOOK, LINK = "#8a1f5c", "#1d4f73"
CLEAR = "rgba(0,0,0,0)"

FONT = "IBM Plex Sans, sans-serif"
CONFIG: dict[str, Any] = {"displayModeBar": False, "responsive": True, "doubleClick": False}

LABEL_ROOM = 76
SYMBOLS = {PointState.LOOK.value: "diamond", PointState.WATCH.value: "diamond-open"}
SIZES = {PointState.LOOK.value: 10, PointState.WATCH.value: 10}


def base_layout(margin: dict[str, int]) -> Figure:
    return {
        "margin": margin,
        "paper_bgcolor": CLEAR,
        "plot_bgcolor": CLEAR,
        "font": {"family": FONT, "size": 12, "color": MUTED},
        "hoverlabel": {
            "bgcolor": PAPER,
            "bordercolor": RULE,
            "font": {"family": FONT, "size": 12, "color": INK},
            "align": "left",
        },
        "hovermode": "closest",
        "dragmode": False,
        "showlegend": False,
        "autosize": True,
    }


def note(text: str, **where: Any) -> Figure:
    return {
        "text": text,
        "showarrow": False,
        "font": {"size": 11, "color": MUTED},
        "xanchor": "left",
        **where,
    }


def note_marks(notes: Sequence[ChartNote]) -> list[Figure]:
    """The number of each note at its day, at the foot of a chart; it tells more when pointed at.

    Charts read their texts as marked-up, so what people wrote is escaped.
    """
    foot = {"yref": "y domain", "y": 0, "yanchor": "bottom", "xshift": 2}
    return [
        note(one.mark, x=one.day, hovertext=escape(one.text, quote=False), **foot) for one in notes
    ]


def note_lines(notes: Sequence[ChartNote]) -> list[Figure]:
    frame = {"type": "line", "xref": "x", "yref": "y domain", "y0": 0, "y1": 1}
    line = {"width": 1, "dash": "dashdot", "color": MUTED}
    return [{**frame, "x0": one.day, "x1": one.day, "line": line} for one in notes]


def state_colour(state: str) -> str:
    if state == PointState.LOOK:
        return LOOK
    return MUTED if state == PointState.FEW else INK


def percent_of(share: float | None) -> float | None:
    """A share in percent, to a thousandth: finer than a pixel, and half the bytes."""
    return None if share is None else round(100 * share, 3)
