"""Empirical distributions as a Plotly figure. Draws only."""

from dashboard.look import INK, MUTED, RULE, Figure, base_layout
from qa.views.value_curves import CurvesView

TICKS_KPA = [2, 3, 5, 7, 10, 15, 20, 30, 50, 75]
AXIS = {"gridcolor": RULE, "zeroline": False, "fixedrange": True}


def curve_figure(view: CurvesView) -> Figure:
    """Steps: the period as a full line, the one before dashed; edges of bands as dotted lines."""
    data = [
        {
            "mode": "lines",
            "x": list(curve.values),
            "y": [100 * share for share in curve.shares],
            "name": curve.label,
            "line": {
                "shape": "hv",
                "width": 2 if curve.is_now else 1.5,
                "dash": "solid" if curve.is_now else "dash",
                "color": INK if curve.is_now else MUTED,
            },
            "hovertemplate": f"%{{y:.1f}} % at or below %{{x}} {view.unit}<extra></extra>",
        }
        for curve in view.curves
    ]
    layout = base_layout({"l": 56, "r": 20, "t": 10, "b": 70})
    layout["xaxis"] = {**AXIS, **_scale(view), "title": {"text": view.unit}}
    layout["yaxis"] = {**AXIS, "title": {"text": "% at or below"}, "range": [0, 100]}
    layout["shapes"] = [
        {
            "type": "line",
            "xref": "x",
            "yref": "paper",
            "x0": edge,
            "x1": edge,
            "y0": 0,
            "y1": 1,
            "line": {"width": 1, "color": MUTED, "dash": "dot"},
        }
        for edge in view.edges
    ]
    layout["showlegend"] = True
    layout["legend"] = {"orientation": "h", "y": -0.3, "x": 0}
    return {"data": data, "layout": layout}


def _scale(view: CurvesView) -> Figure:
    """Stiffness by ratio, with whole values at the ticks; attenuation in even steps."""
    if view.unit != "kPa":
        return {"type": "linear"}
    return {"type": "log", "tickvals": TICKS_KPA, "ticktext": [str(one) for one in TICKS_KPA]}
