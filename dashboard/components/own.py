"""One operator: the learning curve, and the own month in the operator's own words."""

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.components.basics import section
from dashboard.components.charts import graph, saves
from dashboard.components.tables import table
from dashboard.learning_curve import learning_curve
from dashboard.selection import Context
from dashboard.who import current_actor
from qa.views import words
from qa.views.learning import learning_view
from qa.views.operators import OperatorView
from qa.views.own import OwnView

LEARNING_TALL = "260px"


def is_own_page(person: OperatorView | None) -> bool:
    """Whether who is logged in is the operator whose page it is."""
    actor = current_actor()
    return bool(person and actor and actor.operator_id == person.operator_id)


def own_section(own: OwnView) -> Component:
    return html.Div(
        [
            section(
                "What goes well",
                html.Ul([html.Li(one) for one in own.well])
                if own.well
                else html.P("Too few exams this month to say."),
                id=ids.Operators.WELL,
            ),
            section(
                "One step to work on",
                html.P(html.Strong(own.step)),
                html.P(own.why_step, className="note") if own.why_step else None,
                id=ids.Operators.STEP,
            ),
        ]
    )


def learning_section(person: OperatorView, context: Context) -> Component:
    """The learning curve, its finding above and its table below."""
    view = learning_view(
        context.published, operator_id=person.operator_id, month=context.selection.month
    )
    rows = [
        (
            point.months_text,
            words.whole(point.n_so_far),
            words.whole(point.n),
            words.percent_with_interval(point.share, point.lower, point.upper),
        )
        for point in reversed(view.points)
    ]
    headings = ("Months", "Exams so far", "Exams", "Reliable (95 % interval)")
    return section(
        "Learning curve: reliable exams",
        html.Figure(
            [
                html.Figcaption(view.finding),
                graph(learning_curve(view), LEARNING_TALL, id=ids.Operators.LEARNING),
                html.P(view.note, className="note"),
                saves(),
                html.Details(
                    [
                        html.Summary("Table of the learning curve"),
                        table("Learning curve", headings, rows, numeric=(1, 2, 3)),
                    ]
                ),
            ],
            className="chart",
        )
        if view.points
        else html.P(view.finding),
        id=f"{ids.Operators.LEARNING}-part",
    )
