"""The page of an issued pack, on which its site signs it off; and what is open, on Month."""

from http import HTTPStatus

from dash import html
from dash.development.base_component import Component
from flask import Flask, Response, request

from dashboard import ids
from dashboard.addresses import File, Form, Page, address
from dashboard.case_pages import MakeDesk, answer_form, form_page
from dashboard.components.basics import section
from dashboard.plain import see_other
from dashboard.selection import Context
from dashboard.source import PublishedSource
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.pack_signing import names_for, open_page, packs_of_month, sign_pack
from qa.model.errors import FollowupError
from qa.model.permissions import Permission, may
from qa.model.published import Published
from qa.views.issued_pack import SIGN_OFF, issued_view, lead_sentence, open_packs


def add_signing_pages(
    server: Flask, source: PublishedSource, make_desk: MakeDesk, *, prefix: str
) -> None:
    """Add the page of an issued pack, and the address that takes its form.

    Whoever may read a pack may not sign it off, so both have a rule of their own.
    """
    for form, name, methods in (
        (Form.ISSUED, "issued-pack", ["GET"]),
        (Form.SIGN_OFF, "sign-off", ["GET", "POST"]),
    ):
        server.add_url_rule(
            prefix.rstrip("/") + form.value,
            name,
            lambda: answer_form(_issued, source, make_desk, prefix=prefix),
            methods=methods,
        )


def _issued(desk: CaseDesk, published: Published, prefix: str) -> Response:
    asked = {name: request.values.get(name, "")[:60] for name in ("site", "month", "number")}
    which = {"site_id": asked["site"], "month": asked["month"], "number": asked["number"]}
    message = ""
    pack, record = open_page(desk, published, **which)
    if request.method == "POST":
        try:
            sign_pack(desk, published, **which, comment=request.form.get("comment", ""))
            return see_other(address(Form.ISSUED, prefix=prefix, **asked))
        except FollowupError as problem:
            message = problem.message
    site = published.network.site(pack.site_id)
    may_sign = may(desk.actor, Permission.SIGN_PACKS, site_id=pack.site_id)
    is_open = not record.signed_by and pack.is_newest
    return form_page(
        published.network.name,
        prefix,
        message=message,
        status=HTTPStatus.UNPROCESSABLE_ENTITY if message else HTTPStatus.OK,
        view=issued_view(
            record,
            site_name=site.name if site else pack.site_id,
            month=pack.month,
            is_newest=pack.is_newest,
            names=names_for(desk),
        ),
        forms=(SIGN_OFF,) if may_sign and is_open else (),
        sent_what=SIGN_OFF.what if message else "",
        hidden=tuple(asked.items()),
        action=address(Form.SIGN_OFF, prefix=prefix),
        here=Page.SITE,
        file=("The pack (PDF)", address(File.PACK, prefix=prefix, **asked)),
    )


def open_packs_section(context: Context) -> Component | None:
    """Packs of the month that came back, were not opened or not signed off; None without packs."""
    desk, month = context.desk, context.selection.month
    network = context.published.network
    packs = packs_of_month(desk, [one.id for one in network.sites], month) if desk else []
    if not packs:
        return None
    found = open_packs(
        [(pack.site_id, pack.number, record) for pack, record in packs],
        site_names={one.id: one.name for one in network.sites},
    )
    lines = [
        html.Li(
            [
                html.A(
                    one.site_name,
                    href=address(
                        Form.ISSUED,
                        prefix=context.prefix,
                        site=one.site_id,
                        month=f"{month:%Y-%m}",
                        number=one.number,
                    ),
                ),
                f": {one.said}",
            ]
        )
        for one in found
    ]
    return section(
        "Audit packs",
        html.P(lead_sentence(found, n_packs=len(packs), month=month)),
        html.Ul(lines) if lines else None,
        id=ids.Month.PACKS,
    )
