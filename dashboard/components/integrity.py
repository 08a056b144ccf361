"""Questions about data that are too good, for those who may see them."""

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import Form, Page, address
from dashboard.components.basics import link, section
from dashboard.components.tables import table
from dashboard.selection import Context
from qa.jobs.followup.integrity import seen_questions
from qa.model.words import UnitKind
from qa.views.integrity import IntegrityView, Question


def integrity_section(context: Context) -> Component | None:
    """None for whoever sees no question at all, and where decisions are not kept."""
    desk = context.desk
    if desk is None:
        return None
    view = seen_questions(desk.store, actor=desk.actor, published=context.published)
    if view is None or not (view.sees_all or view.questions):
        return None
    return section(
        view.answer,
        html.P(view.note, className="note"),
        _questions(view, context) if view.questions else None,
        _checks(view) if view.checks else None,
        id=ids.Operators.QUESTIONS,
    )


def _questions(view: IntegrityView, context: Context) -> Component:
    rows = [
        (
            _unit(one, context),
            f"{one.title} ({one.check_id})",
            one.words,
            one.innocent,
            _released(one, context, may_release=view.sees_all),
        )
        for one in view.questions
    ]
    return table(
        "Questions about the data",
        ("About", "Check", "Question", "Think first of", "Site may read it"),
        rows,
        long=(1, 2, 3, 4),
    )


def _unit(one: Question, context: Context) -> Component:
    if one.unit_kind == UnitKind.OPERATOR:
        return link(
            f"{one.name}, {one.site_name}", context.to(Page.OPERATORS, operator=one.unit_id)
        )
    return link(one.name, context.to(Page.SITE, site=one.site_id))


def _released(one: Question, context: Context, *, may_release: bool) -> Component | str:
    if not may_release:
        return one.released_text
    where = address(Form.RELEASE, prefix=context.prefix, question=one.question_id)
    if one.released_text:
        return html.Span([f"{one.released_text}. ", html.A("Take it back", href=where)])
    return html.Span(["not released. ", html.A("Release it", href=where)])


def _checks(view: IntegrityView) -> Component:
    return html.Details(
        [
            html.Summary("What every check looks at, and how often it could tell"),
            table(
                "Checks on the data",
                ("Check", "About", "Asked, of units judged", "Not judged", "How"),
                view.checks,
                long=(1, 3, 4),
            ),
        ]
    )
