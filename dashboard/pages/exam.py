"""Exam: how was this one done, and what stood behind it on that day?"""

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import Page
from dashboard.components.basics import facts, link, section
from dashboard.components.competence import files_of
from dashboard.components.shell import screen
from dashboard.components.tables import table
from dashboard.selection import Context
from qa.jobs.followup.equipment import EquipmentDesk
from qa.model.permissions import Permission, may
from qa.views.exam import ExamView, authorised_on_day, check_of_day, exam_view
from qa.views.exam_list import COUNTED

NOT_SHOWN = "Not shown to this account."
NOT_KEPT_HERE = "Not kept: these screens were started without the follow-up store."


def layout(context: Context) -> Component:
    key = context.selection.exam_key
    view = exam_view(context.published, key) if key else None
    if view is None:
        return screen(
            context,
            Page.EXAM,
            answer="There is no such exam here.",
            subline="It may be another site's, or a later export took it back.",
            children=[
                html.P(link("Exams of the month", context.to(Page.EXAMS)), className="links after")
            ],
        )
    return screen(
        context,
        Page.EXAM,
        answer=view.answer,
        subline=view.subline,
        children=[
            _rules(view, context),
            section("What was done", facts(view.facts, css="facts two"), id=ids.Exam.DONE),
            _behind(view, context),
            section("Where it comes from", facts(view.source, css="facts two"), id=ids.Exam.SOURCE),
            _measures(view, context),
        ],
    )


def _rules(view: ExamView, context: Context) -> Component:
    if view.criteria is None:
        return section(
            "How it was judged",
            html.P("No criteria set was in force on its day, so nothing judged it."),
            id=ids.Exam.RULES,
        )
    rows = [(row.asks, row.found, html.Strong(row.verdict)) for row in view.rules]
    return section(
        "How it was judged",
        table("Rules and what was found", ("The rule asks", "Found", "So"), rows, long=(0,)),
        html.P(
            [
                f"Judged by {view.criteria.title}, version {view.criteria.version}, "
                "which was in force on its day. ",
                link("The whole set", context.to(Page.METHODS, anchor=view.criteria.id)),
                ". It says how the exam was done, never what a patient has.",
            ],
            className="note",
        ),
        id=ids.Exam.RULES,
    )


def _behind(view: ExamView, context: Context) -> Component:
    """Who and what stood behind it on its day."""
    operator = context.to(Page.OPERATORS, operator=view.operator_id)
    pairs = [
        ("Operator", html.Span([_authorised(view, context), " ", link("Operator", operator)])),
        ("Phantom checks", _checked(view, context)),
    ]
    if view.signed:
        pairs.append(("Device", html.Span(view.signed)))
    return section("On that day", facts(tuple(pairs), css="facts two"), id=ids.Exam.BEHIND)


def _authorised(view: ExamView, context: Context) -> str:
    if context.desk is None:
        return NOT_KEPT_HERE
    files = files_of(context.desk, context)
    if not files.sees(view.operator_id):
        return NOT_SHOWN
    return authorised_on_day(context.published, view.exam_key, files.file(view.operator_id))


def _checked(view: ExamView, context: Context) -> Component:
    desk = context.desk
    if desk is None:
        return html.Span(NOT_KEPT_HERE)
    if not may(desk.actor, Permission.SEE_RESULTS, site_id=view.site_id):
        return html.Span(NOT_SHOWN)
    network = context.published.network
    charts = EquipmentDesk(desk.store, network, desk.actor, desk.at).equipment().charts
    told = check_of_day(charts, device_id=view.device_id, probe=view.probe, day=view.day)
    to_device = context.to(Page.DEVICES, site=view.site_id)
    return html.Div(
        [
            *(html.Div(line) for line in told or ("No phantom check of this device and probe.",)),
            link("Devices of the site", to_device),
        ]
    )


def _measures(view: ExamView, context: Context) -> Component:
    unit = {"site": view.site_id, "operator": view.operator_id, "month": f"{view.month:%Y-%m}"}
    rows = [
        (
            link(one.title, context.to(Page.METHODS, anchor=one.measure_id)),
            "counts" if one.is_counted else "in the total",
            link(
                "those that count" if one.is_counted else "all of them",
                context.to(
                    Page.EXAMS,
                    **unit,
                    measure=one.measure_id,
                    part=COUNTED if one.is_counted else None,
                ),
            ),
        )
        for one in view.measures
    ]
    return section(
        "Figures that it is part of",
        table("Measures", ("Measure", "This exam", "The operator's month"), rows),
        id=ids.Exam.MEASURES,
    )
