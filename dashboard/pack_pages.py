"""Issued packs: a list on the site's screen, and the PDF itself."""

from dash import html
from dash.development.base_component import Component
from flask import Flask, Response, request

from dashboard import ids
from dashboard.addresses import File, Page, address
from dashboard.case_pages import MakeDesk, answer_form
from dashboard.components.basics import file_link, link, section
from dashboard.components.tables import table
from dashboard.selection import Context
from dashboard.source import PublishedSource
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.issued_packs import fetch_pack, issued_packs
from qa.model.months import month_name
from qa.model.published import Published
from qa.views import words


def add_pack_pages(
    server: Flask, published_source: PublishedSource, make_desk: MakeDesk, *, prefix: str
) -> None:
    """Add the address of a pack's PDF."""
    server.add_url_rule(
        prefix.rstrip("/") + File.PACK.value,
        "pack-file",
        lambda: answer_form(_pack, published_source, make_desk, prefix=prefix),
    )


def _pack(desk: CaseDesk, published: Published, prefix: str) -> Response:
    asked = request.args
    name, pdf = fetch_pack(
        desk,
        published,
        site_id=asked.get("site", ""),
        month=asked.get("month", ""),
        number=asked.get("number", ""),
    )
    headers = {
        "Content-Disposition": f'attachment; filename="{name}"',
        "Cache-Control": "no-store",
    }
    return Response(pdf, mimetype="application/pdf", headers=headers)


def packs_section(context: Context, site_id: str) -> Component | None:
    """The site's packs; nothing where none was issued or none may be fetched."""
    packs = issued_packs(context.desk, site_id) if context.desk else []
    if not packs:
        return None
    rows = [
        (
            file_link(
                f"{month_name(one.month)}, number {one.number}",
                address(
                    File.PACK,
                    prefix=context.prefix,
                    site=site_id,
                    month=f"{one.month:%Y-%m}",
                    number=one.number,
                ),
            ),
            f"{one.issued_at:%Y-%m-%d %H:%M}",
            "newest of its month" if one.is_newest else "replaced by a later number",
        )
        for one in packs
    ]
    return section(
        "Audit packs",
        html.P(f"{words.counted(len(packs), 'pack')} issued. Each PDF that is fetched is noted."),
        html.P(link("What the month's pack says, as a page", context.to(Page.PACK, site=site_id))),
        table("Issued packs", ("Pack (PDF)", "Issued (UTC)", "State"), rows, long=(2,)),
        id=ids.Site.PACKS,
    )
