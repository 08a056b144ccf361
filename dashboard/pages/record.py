"""Record: what did we comply with, then?"""

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import Download, Form, Page, address
from dashboard.components.basics import facts, file_link, link, section, state_mark
from dashboard.components.choices import links, select
from dashboard.components.shell import message_screen, screen
from dashboard.components.tables import months_table, table
from dashboard.selection import Context
from qa.jobs.followup.site_record import SiteRecord, read_site
from qa.model.document_words import Compliance
from qa.model.months import month_name, short_month_name
from qa.model.requirement import REQUIREMENTS_CAUTION
from qa.views.record import MARKS, Evidence, RecordDetail, RecordRow, RecordView, record_view

MONTHS_SHOWN = 12


def read_record(context: Context) -> SiteRecord | None:
    """What the address asks for; None where no record is kept or this person has no site."""
    chosen = context.selection
    return read_site(
        context.desk,
        [site.id for site in context.published.network.sites],
        site_id=chosen.site_id,
        months=[one for one in chosen.months if one <= chosen.month][-MONTHS_SHOWN:],
        is_then=not chosen.is_known_now,
    )


def layout(context: Context) -> Component:
    record = read_record(context)
    if record is None:
        return message_screen(
            "There is no record to show.",
            "These screens were started without the record, or this account has no site.",
            prefix=context.prefix,
        )
    chosen = context.selection
    site = context.published.network.site(record.site_id)
    view = record_view(
        record.verdicts,
        record.documents,
        site_name=site.name if site else record.site_id,
        month=chosen.month,
        requirement_id=chosen.requirement_id,
        is_then=not chosen.is_known_now,
        retention_years=context.published.network.retention_years,
    )
    return screen(
        context,
        Page.RECORD,
        answer=view.answer,
        subline=view.subline,
        children=[
            _choices(context, record),
            _detail(view.detail, context, record) if view.detail else None,
            _found(view, context, record),
            _months(view, context, record),
            _documents(view, context),
            _retention(view),
        ],
    )


def _choices(context: Context, record: SiteRecord) -> Component:
    def here(site: str = record.site_id, **changes: str | None) -> str:
        return context.here(Page.RECORD, site=site, **changes)  # type: ignore[arg-type]

    names = {site.id: site.name for site in context.published.network.sites}
    options = [(names[one], here(site=one)) for one in record.sites]
    is_now = context.selection.is_known_now
    return html.Div(
        [
            select("Site", options, chosen=here()),
            links(
                "As known",
                [("then", here(known=None), not is_now), ("now", here(known="now"), is_now)],
            ),
        ],
        className="choices",
    )


def _to_cell(context: Context, record: SiteRecord, requirement_id: str, month: str) -> str:
    return context.here(
        Page.RECORD,
        site=record.site_id,
        month=month,
        requirement=requirement_id,
        anchor=ids.Record.EVIDENCE,
    )


def _found(view: RecordView, context: Context, record: SiteRecord) -> Component:
    month = context.selection.month
    rows = [
        (
            link(row.title, _to_cell(context, record, row.requirement_id, f"{month:%Y-%m}")),
            state_mark(row.mark, word=row.answer),
            row.sentence,
        )
        for row in view.rows
    ]
    return section(
        f"Requirement by requirement, {month_name(month)}",
        table("Requirements", ("Requirement", "Answer", "What was found"), rows, long=(2,)),
        html.P(REQUIREMENTS_CAUTION, className="note"),
        id=ids.Record.FOUND,
    )


def _months(view: RecordView, context: Context, record: SiteRecord) -> Component:
    rows = [(row.title, _cells(row, context, record)) for row in view.rows]
    heads = [[short_month_name(month)] for month in reversed(view.months)]
    marks = [state_mark(MARKS[one], word=one) for one in Compliance]
    return section(
        "Requirements and months",
        months_table("Answers by month, the newest first", heads, rows),
        html.P(marks, className="legend"),
        html.P(
            file_link(
                "These answers with their evidence as CSV",
                context.here(Download.RECORD, site=record.site_id),
            ),
            className="links",
        ),
        id=ids.Record.MONTHS,
        note="Each mark leads to its evidence.",
    )


def _cells(row: RecordRow, context: Context, record: SiteRecord) -> list[tuple[Component, str]]:
    return [
        (
            link(
                [
                    html.Span(className=f"mark mark-{cell.mark}"),
                    html.Span(f"{cell.answer}, {month_name(cell.month)}", className="unseen"),
                ],
                _to_cell(context, record, row.requirement_id, f"{cell.month:%Y-%m}"),
                css=f"cell cell-{cell.mark}",
            ),
            cell.said,
        )
        for cell in reversed(row.cells)
    ]


def _detail(detail: RecordDetail, context: Context, record: SiteRecord) -> Component:
    sign = html.A(
        "Sign for it",
        href=address(
            Form.SIGN,
            prefix=context.prefix,
            site=record.site_id,
            requirement=context.selection.requirement_id,
        ),
    )
    return section(
        detail.title,
        html.P([state_mark(detail.mark, word=detail.answer), f" {detail.sentence}"]),
        facts(detail.facts, css="facts list"),
        html.H3("Evidence"),
        html.Ul([html.Li(_evidence(one, context, record)) for one in detail.evidence])
        if detail.evidence
        else html.P("There is none."),
        html.P(sign, className="links") if detail.can_be_signed and record.can_sign else None,
        id=ids.Record.EVIDENCE,
    )


def _evidence(one: Evidence, context: Context, record: SiteRecord) -> Component:
    """Its words, as a link to where it can be seen."""
    to = _address_of(one, context, record)
    if to is None:
        return html.Span(one.words)
    is_plain = one.kind in ("case", "document")
    return html.A(one.words, href=to) if is_plain else link(one.words, to)


def _address_of(one: Evidence, context: Context, record: SiteRecord) -> str | None:
    keys = {item.key: item.id for item in context.published.definitions.measures.values()}
    pages: dict[str, tuple[Page, dict[str, str | None]]] = {
        "measure": (Page.SITE, {"site": record.site_id, "measure": keys.get(one.ref)}),
        "baseline": (Page.SITE, {"site": record.site_id, "measure": one.ref}),
        "intake": (Page.INTAKE, {"site": record.site_id}),
        "item": (Page.SITE, {"site": record.site_id}),
        "operator": (Page.OPERATORS, {"operator": one.ref}),
        "methods": (Page.METHODS, {}),
    }
    if one.kind in pages:
        page, query = pages[one.kind]
        return context.to(page, **query) if page in context.pages else None  # type: ignore[arg-type]
    if one.kind == "case":
        return address(Form.CASE, prefix=context.prefix, case=one.ref)
    if one.kind == "document":
        return address(Form.DOCUMENT, prefix=context.prefix, document=one.ref)
    return None


def _documents(view: RecordView, context: Context) -> Component:
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
        table("Documents", headings, rows, long=(1,)) if rows else html.P("None by then."),
        id=ids.Record.DOCUMENTS,
    )


def _retention(view: RecordView) -> Component:
    headings = ("Class of record", "What it holds", "Kept")
    return section(
        "How long records are kept",
        table("Classes of records", headings, view.retention, long=(1,)),
        id=ids.Record.RETENTION,
        note="National law decides; network.toml states the years. Removed content leaves its "
        "place and hash in the trail.",
    )
