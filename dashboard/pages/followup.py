"""Follow-up: what was decided, did it work?"""

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import Form, Page, address
from dashboard.components.basics import section, state_mark, wild
from dashboard.components.competence import competence_section, readings_section
from dashboard.components.shell import message_screen, screen
from dashboard.components.tables import table
from dashboard.selection import Context
from qa.jobs.followup.annotations import list_annotations
from qa.jobs.users.opening import names_of_people
from qa.model.permissions import Permission, may
from qa.model.words import PointState
from qa.views.followup import FollowupView, followup_view


def layout(context: Context) -> Component:
    desk = context.desk
    if desk is None:
        return message_screen(
            "Decisions are not kept here.",
            "These screens were started without the follow-up store.",
            prefix=context.prefix,
        )
    view = followup_view(
        desk.cases(),
        desk.reviews(),
        network=context.published.network,
        on=desk.today,
        annotations=list_annotations(desk.store, actor=desk.actor),
        names=names_of_people(desk.store),
    )
    return screen(
        context,
        Page.FOLLOWUP,
        answer=view.answer,
        subline=view.subline,
        children=[
            _open(view, context),
            _effects(view, context),
            _dismissed(view, context),
            competence_section(desk, context),
            readings_section(desk, context),
            _closed(view, context),
            _notes(view, context),
        ],
    )


def _case_link(case_id: str, context: Context) -> Component:
    return html.A(case_id, href=address(Form.CASE, prefix=context.prefix, case=case_id))


def _open(view: FollowupView, context: Context) -> Component:
    rows = [
        (
            _case_link(row.case_id, context),
            state_mark(PointState.LOOK.value, word=row.due_text)
            if row.is_overdue
            else row.due_text,
            row.title,
            row.state,
            f"{row.next} ({row.owner})",
            row.site_name,
        )
        for row in view.rows
    ]
    states = " · ".join(f"{n} {state}" for state, n in view.states)
    return section(
        "Open cases, the next due first",
        html.P(f"By state: {states}.") if states else None,
        table(
            "Open cases",
            ("Case", "Due", "About", "State", "Next", "Site"),
            rows,
            long=(2, 4),
        )
        if rows
        else html.P("None."),
        html.P(
            html.A("Open a case by hand", href=address(Form.OPEN_CASE, prefix=context.prefix)),
            className="links",
        ),
        id=ids.Followup.OPEN,
    )


def _effects(view: FollowupView, context: Context) -> Component:
    rows = [
        (
            _case_link(row.case_id, context),
            state_mark(row.state, word=row.said),
            row.figures or "–",
            row.criterion,
            row.action,
            row.site_name,
        )
        for row in view.effects
    ]
    headings = ("Case", "Did it work?", "Found (95 % interval)", "Agreed before", "Action", "Site")
    return section(
        "Did it work?",
        table("Actions and their checks", headings, rows, long=(2, 3, 4))
        if rows
        else html.P("No action is planned yet, so there is nothing to check."),
        id=ids.Followup.EFFECTS,
    )


def _closed(view: FollowupView, context: Context) -> Component | None:
    if not view.closed:
        return None
    rows = [(_case_link(case_id, context), *rest) for case_id, *rest in view.closed]
    headings = ("Case", "Site", "About", "What its check said")
    return section(
        "Closed as effective",
        table("Closed cases", headings, rows, long=(2, 3)),
        id=ids.Followup.CLOSED,
    )


def _dismissed(view: FollowupView, context: Context) -> Component | None:
    if not view.dismissed:
        return None
    can_undo = context.desk is not None and may(context.desk.actor, Permission.DECIDE_CASES)
    rows = [
        (site, finding, why, whom, *((_undo(item, finding, context),) if can_undo else ()))
        for item, site, finding, why, whom in view.dismissed
    ]
    headings = ("Site", "Finding", "Why", "By whom", *(("Undo",) if can_undo else ()))
    return section(
        "Reviewed and not pursued",
        table("Signals not pursued", headings, rows, long=(1, 2)),
        id=ids.Followup.DISMISSED,
    )


def _undo(item_id: str, finding: str, context: Context) -> Component:
    where = address(Form.REVIEW, prefix=context.prefix, item=item_id)
    return html.A("Take it up again", href=where, **wild(aria_label=f"Take up again: {finding}"))


def _notes(view: FollowupView, context: Context) -> Component | None:
    desk = context.desk
    can_write = desk is not None and may(desk.actor, Permission.ANNOTATE)
    if not view.notes and not can_write:
        return None
    where = address(Form.NOTE, prefix=context.prefix, kind="network", unit="network")
    headings = ("Unit", "Day", "What", "In words", "By whom")
    return section(
        "Notes at charts",
        table("Notes at charts", headings, view.notes, long=(3,)) if view.notes else None,
        html.P(html.A("Write a note into all charts", href=where), className="links")
        if can_write
        else None,
        id=ids.Followup.NOTES,
    )
