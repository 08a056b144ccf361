"""A chart as a figure with its finding, and the same numbers as a table."""

from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import figures, funnels, ids
from dashboard.components.basics import bare_mark, file_link, link, state_mark, wild
from dashboard.components.tables import table
from dashboard.look import CONFIG, Figure
from qa.model.months import short_month_name
from qa.model.words import PointState
from qa.views import words
from qa.views.chart_words import rules_told
from qa.views.heat import NO_DATA_STATE
from qa.views.shown import ChartPoint, ChartView, FunnelView

MONTH = "MONTH"
"""Stands for a point's month in an address."""
SIGNALS_NAMED = 6
TALL, LOW, FUNNEL_TALL = "240px", "84px", "380px"


def chart_figure(
    view: ChartView, *, csv: str, methods: str, title: bool = True, exams: str = ""
) -> Component:
    """One control chart, its finding above, why it is drawn so and its table below.

    Args:
        csv, methods: addresses. title: False where the finding stands above already.
        exams: address of the exams behind a point, with MONTH in the month's place; "": none.
    """
    return html.Figure(
        [
            html.Figcaption(view.finding, className=None if title else "unseen"),
            graph(
                figures.control_chart(view),
                TALL,
                id=ids.chart(view.unit_kind, view.unit_id, view.measure_id),
            ),
            _signals(view, exams),
            html.P([view.baseline_text], className="note"),
            saves(csv),
            *(html.P(f"Bar at the top: {one.text}", className="note") for one in view.unsigned),
            html.Details(
                [
                    html.Summary("Table and how this chart is made"),
                    html.P(
                        [view.why_chart, " ", link("Chart rules", methods)],
                        className="note",
                    ),
                    points_table(view, exams),
                ]
            ),
        ],
        className="chart",
        **(wild(data_exams=exams) if exams else {}),
    )


def exams_of_month(exams: str, month: date) -> str:
    return exams.replace(MONTH, f"{month:%Y-%m}")


def _signals(view: ChartView, exams: str) -> Component | None:
    """The newest months that a rule fired in; the focus on one shows it in the chart."""
    fired = [
        (number, point)
        for number, point in enumerate(view.points)
        if point.state in (PointState.LOOK, PointState.WATCH)
    ][-SIGNALS_NAMED:]
    if not fired:
        return None
    return html.Ul(
        [html.Li(_signal(point, number, exams)) for number, point in reversed(fired)],
        className="signals",
        **wild(aria_label="Months that a rule fired in, the newest first"),
    )


def _signal(point: ChartPoint, number: int, exams: str) -> Component:
    said: list[Component | str] = [
        *bare_mark(point.state),
        f" {short_month_name(point.month)} {words.percent(point.value)}",
        html.Span(f" {words.listed(rules_told(point.rules))}", className="told"),
    ]
    where = wild(data_point=str(number))
    if exams:
        return html.A(said, href=exams_of_month(exams, point.month), **where)
    return html.Span(said, tabIndex="0", **where)


def graph(figure: Figure, height: str, *, id: str | None = None) -> Component:
    named: dict[str, Any] = {"id": id} if id else {}
    config: Any = CONFIG
    return dcc.Graph(
        figure=figure, config=config, responsive=True, style={"height": height}, **named
    )


def saves(csv: str = "") -> Component:
    """What is drawn as a file: figures, pictures, and the link of the state (assets/saves.js)."""
    buttons = (("png", "PNG"), ("svg", "SVG"), ("link", "Copy link"))
    return html.P(
        [
            file_link("CSV", csv) if csv else None,
            *(html.Button(text, type="button", **wild(data_save=what)) for what, text in buttons),
            html.Span(role="status"),
        ],
        className="saves",
    )


def points_table(view: ChartView, exams: str = "") -> Component:
    rows = [
        (
            short_month_name(point.month),
            link(words.whole(point.n), exams_of_month(exams, point.month))
            if exams and point.n
            else words.whole(point.n),
            words.percent_with_interval(point.value, point.lower, point.upper),
            words.percent(point.centre) if point.centre is not None else "–",
            words.interval(point.lcl, point.ucl) or "–",
            html.Span([state_mark(point.state), " ", " ".join(point.rules)]),
        )
        for point in reversed(view.points)
    ]
    return table(
        f"{view.unit_name}: {view.finding}",
        (
            "Month",
            f"{view.noun.capitalize()}s",
            "Share (95 % interval)",
            "Expected",
            "Limits",
            "State",
        ),
        rows,
        numeric=(1, 2, 3, 4),
    )


def small_charts(
    views: Sequence[ChartView],
    *,
    title: Callable[[ChartView], str],
    href: Callable[[ChartView], str],
    month: date,
    is_one_scale: bool,
) -> Component:
    """Many small charts; each names itself, says its last value and leads to the large one.

    Args:
        month: the month that the screen shows; a chart that ends before it says so.
        is_one_scale: True where all show the same measure, so that heights compare.
    """
    shared = figures.percent_range(views) if is_one_scale else None
    return html.Ul(
        [
            html.Li(
                html.Figure(
                    [
                        html.Figcaption(
                            [
                                link(title(view), href(view)),
                                html.Span(_last_text(view, month), className="last"),
                            ]
                        ),
                        graph(figures.control_chart(view, is_small=True, y_range=shared), LOW),
                    ]
                )
            )
            for view in views
        ],
        className="smalls",
    )


def _last_text(view: ChartView, month: date) -> list[Component | str]:
    """The last value with its mark; of a chart that ends before the month, its end."""
    if not view.points:
        return [words.NO_DATA]
    last = view.points[-1]
    if last.month != month:
        return [f"until {short_month_name(last.month)}"]
    return [words.percent(last.value), " ", *bare_mark(last.state)]


def last_points_table(views: Sequence[ChartView], *, name: Callable[[ChartView], str]) -> Component:
    """The last month of several charts, with n and interval."""
    rows = []
    for view in views:
        last = view.points[-1] if view.points else None
        if last is None:
            rows.append((name(view), "–", "–", words.NO_DATA, "–", state_mark(NO_DATA_STATE)))
            continue
        rows.append(
            (
                name(view),
                short_month_name(last.month),
                words.whole(last.n) if view.noun == "exam" else words.counted(last.n, view.noun),
                words.percent_with_interval(last.value, last.lower, last.upper),
                words.percent(last.centre) if last.centre is not None else "–",
                state_mark(last.state),
            )
        )
    return table(
        "The last month of each chart",
        ("", "Month", "Exams", "Share (95 % interval)", "Expected", "State"),
        rows,
        numeric=(2, 3, 4),
    )


def funnel_figure(view: FunnelView, *, id: str) -> Component:
    return html.Figure(
        [
            html.Figcaption(view.finding),
            graph(funnels.funnel_chart(view), FUNNEL_TALL, id=id),
            saves(),
        ],
        className="chart",
    )
