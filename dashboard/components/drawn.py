"""A series drawn by the chart that fits it, with the choice to draw it another way."""

from collections.abc import Callable, Sequence
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import drawn, ids
from dashboard.addresses import Download, Page
from dashboard.components.basics import link, section
from dashboard.components.charts import saves
from dashboard.components.choices import links
from dashboard.components.tables import table
from dashboard.look import CONFIG
from dashboard.noted import notes_between
from dashboard.selection import Context
from qa.model.months import add_months
from qa.views import words
from qa.views.baselines import reset_evidence
from qa.views.drawn import CONTINUOUS_IDS, DrawnView, drawn_view
from qa.views.drawn_choice import DrawChoice
from qa.views.shown import ChartNote

TALL = "220px"


def drawn_sections(
    context: Context, page: Page, *, unit_kind: str, unit_id: str, measure_id: str
) -> tuple[Component, Component]:
    """The measure drawn as chosen or as asked for, and the continuous measures of the unit."""
    chosen = context.selection

    def view(series_id: str, choice: DrawChoice) -> DrawnView:
        return drawn_view(
            context.published,
            unit_kind=unit_kind,
            unit_id=unit_id,
            series_id=series_id,
            last_month=chosen.month,
            months=chosen.period,
            choice=choice,
        )

    main = view(measure_id, chosen.drawn)
    notes = notes_between(
        context,
        unit_kind=unit_kind,
        unit_id=unit_id,
        first_month=add_months(chosen.month, 1 - chosen.period),
        last_month=chosen.month,
    )

    def here(**changes: str) -> str:
        return context.here(page, measure=measure_id, anchor=ids.Drawn.CHART, **changes)

    first = section(
        "Which chart fits",
        links("Drawn as", _kinds(main, lambda code: here(draw=code))),
        *_choices(main, here),
        _figure(main, notes, context.here(Download.DRAWN, measure=measure_id)),
        _proposal(context, unit_kind, unit_id, measure_id),
        id=ids.Drawn.CHART,
    )
    more = [view(one, chosen.drawn_spread) for one in CONTINUOUS_IDS]
    return first, _continuous(more, notes, context, page)


def _kinds(view: DrawnView, href: Callable[[str], str]) -> list[tuple[str, str, bool]]:
    return [
        (f"{title} (fits)" if is_fit else title, href(code), is_here)
        for code, title, is_here, is_fit in view.options
    ]


def _choices(view: DrawnView, here: Callable[..., str]) -> list[Component | None]:
    """Width of limits, months or quarters, and run rules, each a link that can be sent."""
    limits = [(text, here(limits=code), is_here) for code, text, is_here in view.limit_options]
    pools = [(text, here(pool=code), is_here) for code, text, is_here in view.pool_options]
    return [
        links("Limits at", limits) if limits else None,
        links("Points are", pools) if pools else None,
        _rules(view, here) if view.rule_options else None,
    ]


def _rules(view: DrawnView, here: Callable[..., str]) -> Component:
    on = [one.title for one in view.rule_options if one.is_on]
    rows = [
        (
            one.title,
            html.Span(
                [
                    "on, " if one.is_on else "off, ",
                    link("switch off" if one.is_on else "switch on", here(rules=one.when_switched)),
                ]
            ),
            one.sentence,
            words.whole(one.arl),
        )
        for one in view.rule_options
    ]
    return html.Details(
        [
            html.Summary(f"Run rules: {words.listed(on) or 'none'}"),
            html.P(
                "A month outside the limits is always marked. Besides, as published by Western "
                "Electric 1956 and Nelson 1984; the run length is the mean "
                "number of points until the rule alone calls by chance, normal values, all known.",
                className="note",
            ),
            table(
                "Run rules",
                ("Rule", "Now", "It calls at", "Run length"),
                rows,
                numeric=(3,),
                long=(2,),
            ),
        ],
        id=ids.Drawn.RULES,
        open=bool(on),
    )


def _proposal(context: Context, unit_kind: str, unit_id: str, measure_id: str) -> Component | None:
    found = reset_evidence(
        context.published,
        unit_kind=unit_kind,
        unit_id=unit_id,
        measure_id=measure_id,
        last_month=context.selection.month,
    )
    if found is None:
        return None
    return html.Div(
        [
            html.P([html.Strong("Another level has held. "), found.sentence]),
            html.P(
                "Mend it, or, where it is the new normal, let a named person set a new baseline. "
                "Nothing is re-set by itself.",
                className="note",
            ),
            html.P(html.Code(found.command)),
        ],
        className="note-box",
        id=ids.Drawn.PROPOSAL,
    )


def _continuous(
    views: Sequence[DrawnView], notes: Sequence[ChartNote], context: Context, page: Page
) -> Component:
    def href(code: str) -> str:
        return context.here(page, spread=code, anchor=ids.Drawn.MORE)

    def csv(series_id: str) -> str:
        return context.here(Download.DRAWN, series=series_id)

    is_chosen = context.selection.spread is not None
    parts = [
        part
        for view in views
        for part in (
            _figure(view, notes, csv(view.series_id)),
            links("Drawn as", _kinds(view, href)) if view.points or is_chosen else None,
        )
    ]
    title = "Spread of readings, measurements attempted and duration"
    return section(title, *parts, id=ids.Drawn.MORE)


def _figure(view: DrawnView, notes: Sequence[ChartNote], csv: str) -> Component:
    if not view.points:
        return html.Figure(
            [
                html.Figcaption(view.title),
                html.P("Nothing to draw: no exams of these months for it.", className="note"),
            ],
            className="chart",
        )
    config: Any = CONFIG
    warning = [html.P(one, className="note") for one in (view.warning, view.about) if one]
    return html.Figure(
        [
            html.Figcaption(f"{view.title}. {view.kind.title}"),
            dcc.Graph(
                figure=drawn.drawn_chart(view, notes),
                config=config,
                responsive=True,
                style={"height": TALL},
            ),
            html.P(view.reason, className="note"),
            *(html.P(one, className="note") for one in view.baselines),
            *warning,
            saves(csv),
            html.Details(
                [
                    html.Summary("Table and how this chart is made"),
                    html.P(
                        f"{view.kind.sentence} {view.arl_text} Source: {view.kind.source}.",
                        className="note",
                    ),
                    *(html.P(f"{one.mark} {one.text}", className="note") for one in notes),
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
            drawn.remark(point),
        )
        for point in reversed(view.points)
    ]
    return table(
        f"{view.title}. {view.kind.title}",
        ("Month or day", f"{view.noun.capitalize()}s", "Value", "Expected", "Limits", ""),
        rows,
        numeric=(1, 2, 3, 4),
    )
