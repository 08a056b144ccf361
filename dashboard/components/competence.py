"""Operators' files and second readings, as sections of a screen."""

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import Form, Page, address
from dashboard.components.basics import facts, link, section
from dashboard.components.tables import table
from dashboard.reading_pages import readings_of
from dashboard.selection import Context
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.competence import CompetenceDesk
from qa.jobs.followup.month_of import competence_of_month, differing
from qa.model.permissions import Permission, may
from qa.views.competence import CompetenceView, StandingRow, file_facts
from qa.views.second_readings import ReadingsView, SampleRow, readings_view


def files_of(desk: CaseDesk, context: Context) -> CompetenceDesk:
    """The same person's desk of operators' files."""
    return CompetenceDesk(desk.store, context.published.network, desk.actor, desk.at)


def competence_section(desk: CaseDesk, context: Context) -> Component:
    view = competence_of_month(
        files_of(desk, context), context.published, month=context.selection.month
    )
    return section(
        "Who may do what",
        html.P(view.text),
        _lacking(view, context),
        _outside(view),
        id=ids.Followup.COMPETENCE,
    )


def _lacking(view: CompetenceView, context: Context) -> Component | None:
    rows = [
        (
            link(row.name, context.to(Page.OPERATORS, operator=row.operator_id)),
            row.site_name,
            row.stage,
            row.exams_text,
            _lacks(row, context),
        )
        for row in view.rows
    ]
    headings = ("Operator", "Site", "Stage", "Exams", "Lacks")
    return table("Operators who lack something", headings, rows, long=(4,)) if rows else None


def _lacks(row: StandingRow, context: Context) -> Component:
    where = address(Form.OPERATOR_FILE, prefix=context.prefix, operator=row.operator_id)
    return html.Span([f"{row.lacks} ", html.A(f"File of {row.name}", href=where)])


def _outside(view: CompetenceView) -> Component | None:
    if not view.outside_text:
        return None
    headings = ("Operator", "Technique, probe", "Exams", "Days", "Why")
    shown = table("Exams outside an authorisation", headings, view.outside, numeric=(2,), long=(4,))
    return html.Div([html.P(view.outside_text), shown if view.outside else None])


def readings_section(desk: CaseDesk, context: Context) -> Component:
    readings = readings_of(desk, context.published)
    samples = readings.samples()
    view = readings_view(
        samples,
        differing(readings, samples),
        readings.agreement(samples),
        network=context.published.network,
    )
    return section(
        "Second readings, blind",
        *(html.P(text) for text in view.text),
        _samples(view, context),
        _to_read(desk, context),
        _to_draw(desk, context),
        id=ids.Followup.READINGS,
    )


def _to_read(desk: CaseDesk, context: Context) -> Component | None:
    user = desk.actor.user_id if desk.actor else ""
    if not may(desk.actor, Permission.SECOND_READ, owner=user):
        return None
    where = address(Form.READ, prefix=context.prefix)
    return html.P(html.A("Exams for you to read", href=where), className="links")


def _to_draw(desk: CaseDesk, context: Context) -> Component | None:
    if not may(desk.actor, Permission.DRAW_SAMPLE):
        return None
    where = address(Form.SAMPLES, prefix=context.prefix)
    return html.P(html.A("Draw a sample", href=where), className="links")


def _samples(view: ReadingsView, context: Context) -> Component | None:
    rows = [
        (
            html.A(
                f"{row.name}, {row.month_text}",
                href=address(Form.SAMPLES, prefix=context.prefix, sample=row.sample_id),
            ),
            row.drawn_text,
            row.read_text,
            _differ(row, context),
        )
        for row in view.rows
    ]
    headings = ("Sample", "Drawn", "Read", "Differ")
    return table("Samples", headings, rows, long=(1, 3)) if rows else None


def _differ(row: SampleRow, context: Context) -> Component | str:
    parts: list[Component] = []
    for code, told, case_id in row.differ:
        where = (
            address(Form.CASE, prefix=context.prefix, case=case_id)
            if case_id
            else address(Form.DIFFERS, prefix=context.prefix, sample=row.sample_id, code=code)
        )
        parts.append(html.P([html.A(case_id or "Follow up", href=where), f" {told}"]))
    return html.Div(parts) if parts else "–"


def file_section(context: Context, operator_id: str) -> Component | None:
    """One operator's file in short; nothing where no decisions are kept or it may not be seen."""
    if context.desk is None:
        return None
    desk = files_of(context.desk, context)
    if not desk.sees(operator_id):
        return None
    standing = desk.standing(operator_id, context.published, month=context.selection.month)
    where = address(Form.OPERATOR_FILE, prefix=context.prefix, operator=operator_id)
    can_enter = desk.may_keep(operator_id, Permission.KEEP_COMPETENCE)
    told = file_facts(desk.files().get(operator_id), standing, can_enter=can_enter)
    words = "Open the file, enter training and authorisations" if can_enter else "Open the file"
    return section(
        "File: training, practice, authorisations",
        facts(told, css="facts list"),
        html.P(html.A(words, href=where), className="links"),
        _to_read(context.desk, context),
        id=ids.Operators.FILE,
    )
