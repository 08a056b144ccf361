"""One operator's own parts of the Operators screen."""

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import Download, Page
from dashboard.components.basics import file_link, section
from dashboard.components.charts import chart_figure, last_points_table, small_charts
from dashboard.components.drawn import drawn_sections
from dashboard.components.exams import exams_of_chart
from dashboard.components.own import learning_section, own_section
from dashboard.components.worklist import item_facts
from dashboard.noted import noted, notes_below
from dashboard.selection import Context
from qa.model.words import UnitKind
from qa.views.operators import OperatorsView, OperatorView
from qa.views.own import OwnView
from qa.views.shown import ChartView


def person_parts(
    person: OperatorView, view: OperatorsView, context: Context, own: OwnView | None
) -> Component:
    """Args: own: the month in the operator's own words; None: somebody else reads it."""
    chosen = next(
        (one for one in person.charts if one.measure_id == view.measure.id),
        person.charts[0],
    )
    (chart,) = noted(context, [chosen])
    return html.Div(
        [
            own_section(own) if own else _items(person),
            _chart(chart, person, context),
            learning_section(person, context),
            _place(view),
            *drawn_sections(
                context,
                Page.OPERATORS,
                unit_kind=UnitKind.OPERATOR,
                unit_id=person.operator_id,
                measure_id=chart.measure_id,
            ),
            _charts(person, view, context),
        ]
    )


def _items(person: OperatorView) -> Component | None:
    if not person.items:
        return None
    return section(
        "To decide, by exams at stake",
        *(
            html.Article(
                [
                    html.H3(item.finding),
                    html.P(f"{item.stake_text}.", className="sub"),
                    item_facts(item),
                ]
            )
            for item in person.items
        ),
        id=ids.Operators.ITEMS,
    )


def _chart(chart: ChartView, person: OperatorView, context: Context) -> Component:
    known = context.published.network.operator(person.operator_id)
    return section(
        chart.measure_title,
        chart_figure(
            chart,
            csv=context.here(Download.CHART, measure=chart.measure_id),
            methods=context.to(Page.METHODS, anchor="rules"),
            exams=exams_of_chart(chart, context),
        ),
        notes_below(
            context, chart, site_id=known.site if known else None, measure_id=chart.measure_id
        ),
        id=ids.Operators.PERSON,
    )


def _place(view: OperatorsView) -> Component | None:
    if not view.apart_text:
        return None
    return section(
        "Person or place",
        html.P(f"{view.funnel.period_text} {view.apart_text}"),
        id=f"{ids.Operators.PERSON}-place",
    )


def _charts(person: OperatorView, view: OperatorsView, context: Context) -> Component:
    return section(
        f"{person.name}: all watched measures",
        small_charts(
            person.charts,
            title=lambda one: one.measure_title,
            href=lambda one: context.here(Page.OPERATORS, measure=one.measure_id),
            month=view.month,
            is_one_scale=False,
        ),
        html.Details(
            [
                html.Summary("Table: all watched measures of this operator"),
                html.P(file_link("CSV", context.here(Download.CHARTS, measure=None))),
                last_points_table(person.charts, name=lambda one: one.measure_title),
            ]
        ),
        id=f"{ids.Operators.PERSON}-charts",
    )
