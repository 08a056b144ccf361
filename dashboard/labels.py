"""What is written on a control chart: baseline, rules in force, names of lines, a notable value."""

from datetime import date, timedelta

from dashboard.look import LOOK, Figure, note
from qa.model.months import add_months
from qa.model.words import Phase, PointState
from qa.views import words
from qa.views.shown import ChartView

HALF_MONTH = timedelta(days=15)


def month_edges(month: date) -> tuple[date, date]:
    return month - HALF_MONTH, add_months(month, 1) - HALF_MONTH


def small_labels(view: ChartView) -> list[Figure]:
    if view.points:
        return []
    return [note(f"no {view.noun}s", x=0, xref="paper", y=0.5, yref="paper")]


def chart_labels(view: ChartView, low: float, high: float) -> list[Figure]:
    if not view.points:
        return [note(f"No {view.noun}s in this period", x=0.4, xref="paper", y=0.5, yref="paper")]
    notes: list[Figure] = []
    corner = {"yref": "y domain", "y": 1, "yanchor": "top", "xshift": 2}
    if view.points[0].phase == Phase.BASELINE:
        notes.append(note("baseline", x=month_edges(view.points[0].month)[0], **corner))
    notes += [
        note(f"rules: {_version_of(view, month)}", x=month_edges(month)[0], **corner)
        for month in view.criteria_breaks
    ]
    notes += [note(text, x=month_edges(month)[0], **corner) for month, text in view.other_breaks]
    return [*notes, *_end_labels(view, low, high), *_value_label(view)]


def _version_of(view: ChartView, month: date) -> str:
    later = [point.criteria_id for point in view.points if point.month >= month]
    return later[0].rsplit(".", 1)[-1]


def _end_labels(view: ChartView, low: float, high: float) -> list[Figure]:
    """Names at the lines' ends instead of a legend, kept apart where lines are close."""
    last = view.points[-1]
    labels = [
        (100 * share, f"{name} {words.percent_number(share)}")
        for name, share in (
            *(("limit", last.ucl), ("expected", last.centre), ("limit", last.lcl)),
            ("target", last.target),
        )
        if share is not None and not (name == "limit" and share in (0.0, 1.0))
    ]
    gap = (high - low) * 0.1
    notes: list[Figure] = []
    previous = float("inf")
    for height, text in sorted(labels, reverse=True):
        place = min(height, previous - gap)
        previous = place
        notes.append(note(text, x=1, xref="paper", xshift=4, y=place, yref="y"))
    return [*notes, note(f"{view.noun}s", x=1, xref="paper", xshift=4, y=0.5, yref="y2 domain")]


def _value_label(view: ChartView) -> list[Figure]:
    """The point farthest from its centre, of those to look at, carries its value."""
    notable = [p for p in view.points if p.state == PointState.LOOK and p.value is not None]
    if not notable:
        return []
    point = max(notable, key=lambda p: abs((p.value or 0) - (p.centre or 0)))
    is_high = (point.value or 0) >= (point.centre or 0)
    return [
        {
            "text": f"<b>{words.percent(point.value)}</b>",
            "x": point.month,
            "y": 100 * (point.value or 0),
            "showarrow": False,
            "font": {"size": 12, "color": LOOK},
            "yshift": 14 if is_high else -14,
        }
    ]
