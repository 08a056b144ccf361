"""Record: what did we comply with, then?"""

from collections.abc import Sequence
from datetime import date
from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import Download, Form, Page, address
from dashboard.components.basics import facts, file_link, link, section, state_mark, wild
from dashboard.components.choices import links, select
from dashboard.components.record_lists import (
    documents_section,
    retention_section,
    statements_section,
    trail_line,
)
from dashboard.components.shell import message_screen, screen
from dashboard.components.tables import months_table
from dashboard.selection import Context
from qa.jobs.followup.site_record import SiteRecord, read_site
from qa.model.document_words import Compliance
from qa.model.months import month_name, short_month_name
from qa.model.pack_request import PackKind
from qa.model.requirement import REQUIREMENTS_CAUTION
from qa.views.record import MARKS, Evidence, RecordDetail, RecordRow, RecordView, record_view

MONTHS_SHOWN, MONTHS_AFTER = 12, 3
PLAIN: dict[str, tuple[Form, str]] = {
    "case": (Form.CASE, "case"),
    "operator": (Form.OPERATOR_FILE, "operator"),
    "document": (Form.DOCUMENT, "document"),
    "statement": (Form.STATEMENT, "statement"),
    "trail": (Form.TRAIL, ""),
}
"""Evidence that is a plain page, and what its address names it by."""
MOST_LINKS = 15
"""More sites than these are a select."""


def read_record(context: Context) -> SiteRecord | None:
    """What the address asks for; None where no record is kept or this person has no site."""
    chosen = context.selection
    return read_site(
        context.desk,
        [site.id for site in context.published.network.sites],
        site_id=chosen.site_id,
        month=chosen.month,
        months=months_around(chosen.months, chosen.month),
        is_then=not chosen.is_known_now,
    )


def months_around(months: Sequence[date], chosen: date) -> list[date]:
    """Twelve published months with the chosen one, and up to three after it."""
    last = min(months.index(chosen) + MONTHS_AFTER + 1, len(months))
    return list(months[max(last - MONTHS_SHOWN, 0) : last])


def layout(context: Context) -> Component:
    record = read_record(context)
    if record is None:
        return message_screen(
            "There is no record to show.",
            "These screens were started without the record, or this account has no site.",
            prefix=context.prefix,
        )
    chosen = context.selection
    sites = {one.id: one for one in context.published.network.sites}
    view = record_view(
        record.verdicts,
        record.documents,
        record.statements,
        record.trail,
        site=sites[record.site_id],
        month=chosen.month,
        requirement_id=chosen.requirement_id,
        is_then=not chosen.is_known_now,
        names=record.names,
        retention_years=context.published.network.retention_years,
    )
    return screen(
        context,
        Page.RECORD,
        answer=view.answer,
        subline=view.subline,
        children=[
            _choices(context, record),
            _as_pack(context, record),
            trail_line(view, context, record),
            _detail(view.detail, context, record) if view.detail else None,
            _found(view, context, record),
            _months(view, context, record),
            statements_section(view, context, record),
            documents_section(view, context),
            retention_section(view),
        ],
    )


def _as_pack(context: Context, record: SiteRecord) -> Component | None:
    """Where the whole record of twelve months is read; for whoever may open it."""
    if Page.PACK not in context.pages:
        return None
    where = context.to(Page.PACK, site=record.site_id, kind=str(PackKind.RECORD))
    return html.P(link("The accreditation record of twelve months, as a page", where))


def _choices(context: Context, record: SiteRecord) -> Component:
    def here(site: str = record.site_id, **changes: Any) -> str:
        return context.here(Page.RECORD, site=site, **changes)

    names = {site.id: site.name for site in context.published.network.sites}
    options = [(names[one], here(site=one)) for one in record.sites]
    is_now = context.selection.is_known_now
    return html.Div(
        [
            links("Site", [(name, href, href == here()) for name, href in options])
            if len(options) <= MOST_LINKS
            else select("Site", options, chosen=here()),
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
    found = [
        html.Li(
            [
                link(row.title, _to_cell(context, record, row.requirement_id, f"{month:%Y-%m}")),
                state_mark(row.mark, word=row.answer),
                html.Span(row.sentence),
            ]
        )
        for row in view.rows
    ]
    return section(
        f"Requirement by requirement, {month_name(month)}",
        html.Ul(found, className="verdicts"),
        html.P(REQUIREMENTS_CAUTION, className="note"),
        id=ids.Record.FOUND,
        note="Each requirement leads to its evidence and the rule that was in force.",
    )


def _months(view: RecordView, context: Context, record: SiteRecord) -> Component:
    rows = [(row.title, _cells(row, context, record)) for row in view.rows]
    heads = [_month_head(month, context, record) for month in reversed(view.months)]
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
        note="Each mark leads to its evidence, each month to its answers.",
    )


def _month_head(month: date, context: Context, record: SiteRecord) -> Component:
    name = short_month_name(month)
    if month == context.selection.month:
        return html.Strong(name, **wild(aria_current="true"))
    return link(name, context.here(Page.RECORD, site=record.site_id, month=f"{month:%Y-%m}"))


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
    return html.A(one.words, href=to) if one.kind in PLAIN else link(one.words, to)


def _address_of(one: Evidence, context: Context, record: SiteRecord) -> str | None:
    if one.kind in PLAIN:
        form, name = PLAIN[one.kind]
        if one.kind == "trail" and not record.can_see_trail:
            return None
        return address(form, prefix=context.prefix, **({name: one.ref} if name else {}))
    keys = {item.key: item.id for item in context.published.definitions.measures.values()}
    pages: dict[str, tuple[Page, dict[str, Any]]] = {
        "measure": (Page.SITE, {"site": record.site_id, "measure": keys.get(one.ref)}),
        "baseline": (Page.SITE, {"site": record.site_id, "measure": one.ref}),
        "intake": (Page.INTAKE, {"site": record.site_id}),
        "item": (Page.SITE, {"site": record.site_id, "measure": one.measure_id or None}),
        "device": (Page.DEVICES, {"series": one.ref if "/" in one.ref else None}),
        "methods": (Page.METHODS, {}),
    }
    page, query = pages.get(one.kind, (None, {}))
    if page is None or page not in context.pages:
        return None
    return context.to(page, **query)
