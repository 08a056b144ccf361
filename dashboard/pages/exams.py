"""Exams: which exams are behind this figure?"""

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import Download, Page
from dashboard.components.basics import file_link, link, section
from dashboard.components.choices import links
from dashboard.components.exams import exams_table
from dashboard.components.shell import screen
from dashboard.selection import Context
from qa.views.exam_list import ALL, COUNTED, ExamListView, exam_list_view


def layout(context: Context) -> Component:
    view = exam_list_view(context.published, context.selection.exam_query)
    return screen(
        context,
        Page.EXAMS,
        answer=view.answer,
        subline=view.subline,
        children=[
            html.P(view.note, className="problem") if view.note else None,
            _part(view, context),
            section(
                "Exams",
                exams_table("Exams behind the figure", view.rows, context)
                if view.rows
                else html.P("No exam. Choose another month, or go back to the figure."),
                html.P(
                    [
                        file_link("All of them as CSV", context.here(Download.EXAM_LIST)),
                        *_back(view, context),
                    ],
                    className="links",
                ),
                id=ids.Exams.LIST,
            ),
        ],
    )


def _part(view: ExamListView, context: Context) -> Component | None:
    if view.measure is None:
        return None
    is_all = context.selection.exam_query.part == ALL
    return links(
        "Shown",
        [
            ("all that the share is of", context.here(Page.EXAMS, part=None), is_all),
            ("only those that count", context.here(Page.EXAMS, part=COUNTED), not is_all),
        ],
    )


def _back(view: ExamListView, context: Context) -> list[Component]:
    """To the chart of the figure, and how the measure is made."""
    chosen, found = context.selection, []
    measure = {"measure": view.measure.id} if view.measure else {}
    if chosen.operator_id:
        to = context.to(Page.OPERATORS, operator=chosen.operator_id, **measure)
        found.append(link("Chart of the operator", to))
    elif chosen.site_id and Page.SITE in context.pages:
        found.append(
            link("Chart of the site", context.to(Page.SITE, site=chosen.site_id, **measure))
        )
    if view.measure:
        found.append(link("How it is counted", context.to(Page.METHODS, anchor=view.measure.id)))
    return found
