"""Parts of the Record screen below the answers: trail, statements, documents, classes."""

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import Form, address
from dashboard.components.basics import section, state_mark
from dashboard.components.tables import table
from dashboard.selection import Context
from qa.jobs.followup.site_record import SiteRecord
from qa.views.record import MARKS, RecordView


def trail_line(view: RecordView, context: Context, record: SiteRecord) -> Component:
    """Whether anything was rewritten, as walked now; the lines themselves for who may see them."""
    to = html.A("See its lines", href=address(Form.TRAIL, prefix=context.prefix))
    return html.Div(
        [
            html.P(
                [
                    "Trail: ",
                    state_mark(MARKS[view.trail.answer], word=view.trail.word),
                    f" {view.trail.sentence}",
                    html.Span([" ", to]) if record.can_see_trail else None,
                ]
            ),
            *(html.P(fault) for fault in view.trail.faults),
        ],
        id=ids.Record.TRAIL,
    )


def statements_section(view: RecordView, context: Context, record: SiteRecord) -> Component:
    rows = [
        (
            html.A(row[0], href=address(Form.STATEMENT, prefix=context.prefix, statement=row[0])),
            *row[1:],
        )
        for row in view.statements
    ]
    headings = ("Statement", "Requirement", "Says", "Speaks for", "Signed", "For this month")
    note = "What no data show is signed for; a signature never stands for what data decide."
    if record.can_sign:
        note += " To sign, open the requirement's evidence."
    return section(
        "Signed statements",
        table("Signed statements", headings, rows, long=(1, 5))
        if rows
        else html.P("Nobody had signed by then."),
        id=ids.Record.STATEMENTS,
        note=note,
    )


def documents_section(view: RecordView, context: Context) -> Component:
    rows = [
        (
            html.A(row[0], href=address(Form.DOCUMENT, prefix=context.prefix, document=row[0])),
            *row[1:],
        )
        for row in view.documents
    ]
    headings = ("Document", "What it is", "On the month's last day", "In force", "Approved", "Read")
    return section(
        "Documents under control",
        table("Documents", headings, rows, long=(1, 5)) if rows else html.P("None by then."),
        id=ids.Record.DOCUMENTS,
        note="What was in force, who approved it and who has read it. Open one to see its text and "
        "what changed, and to approve it or confirm that you have read it.",
    )


def retention_section(view: RecordView) -> Component:
    headings = ("Class of record", "What it holds", "Kept")
    return section(
        "How long records are kept",
        table("Classes of records", headings, view.retention, long=(1,)),
        id=ids.Record.RETENTION,
        note="National law decides; network.toml states the years. Removed content leaves its "
        "place and hash in the trail.",
    )
