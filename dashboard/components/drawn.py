"""A series drawn by the chart that fits it, with the choice to draw it another way."""

from collections.abc import Sequence
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import drawn, ids
from dashboard.addresses import Page
from dashboard.components.basics import section
from dashboard.components.choices import links
from dashboard.components.tables import table
from dashboard.look import CONFIG
from dashboard.selection import Context
from qa.views import words
from qa.views.drawn import CONTINUOUS_IDS, DrawnView, drawn_view

TALL = "220px"


def drawn_sections(
    context: Context, page: Page, *, unit_kind: str, unit_id: str, measure_id: str
) -> tuple[Component, Component]:
    """The measure drawn as chosen or as asked for, and the continuous measures of the unit."""
    chosen = context.selection

    def view(series_id: str, kind: str | None) -> DrawnView:
        return drawn_view(
            context.published,
            unit_kind=unit_kind,
            unit_id=unit_id,
            series_id=series_id,
            kind=kind,
            last_month=chosen.month,
            months=chosen.period,
        )

    main = view(measure_id, chosen.draw)
    options = [
        (
            f"{title} (fits)" if is_fit else title,
            context.here(page, draw=code, measure=measure_id, anchor=ids.Drawn.CHART),
            is_here,
        )
        for code, title, is_here, is_fit in main.options
    ]
    first = section(
        "Which chart fits",
        links("Drawn as", options),
        _figure(main),
        id=ids.Drawn.CHART,
    )
    return first, _continuous([view(one, None) for one in CONTINUOUS_IDS])


def _continuous(views: Sequence[DrawnView]) -> Component:
    title = "Spread of readings and measurements attempted"
    return section(title, *map(_figure, views), id=ids.Drawn.MORE)


def _figure(view: DrawnView) -> Component:
    config: Any = CONFIG
    warning = [html.P(one, className="note") for one in (view.warning, view.about) if one]
    return html.Figure(
        [
            html.Figcaption(f"{view.title}. {view.kind.title}"),
            dcc.Graph(
                figure=drawn.drawn_chart(view),
                config=config,
                responsive=True,
                style={"height": TALL},
            ),
            html.P(view.reason, className="note"),
            *warning,
            html.Details(
                [
                    html.Summary("Table and how this chart is made"),
                    html.P(
                        f"{view.kind.sentence} {view.arl_text} Source: {view.kind.source}.",
                        className="note",
                    ),
                    _table(view),
                ]
            ),
        ],
        className="chart",
    )


def _table(view: DrawnView) -> Component:
    rows = [
        (
            f"{point.day:%Y-%m-%d}",
            words.whole(point.n),
            drawn.number_words(view, point.value),
            drawn.number_words(view, point.centre),
            f"{drawn.number_words(view, point.lcl)} to {drawn.number_words(view, point.ucl)}",
            "outside" if point.is_outside else "baseline" if point.is_baseline else "",
        )
        for point in reversed(view.points)
    ]
    return table(
        f"{view.title}. {view.kind.title}",
        ("Month or day", f"{view.noun.capitalize()}s", "Value", "Expected", "Limits", ""),
        rows,
        numeric=(1, 2, 3, 4),
    )
