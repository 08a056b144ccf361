"""Plain pages of the Record: one document, one signed statement, and signing."""

from http import HTTPStatus

from flask import Flask, Response, request

from dashboard.addresses import Form, Page, address
from dashboard.case_pages import MakeDesk, answer_form, form_page
from dashboard.plain import see_other
from dashboard.selection import KNOWN_NOW
from dashboard.source import PublishedSource
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.documents import DocumentDesk
from qa.jobs.followup.record_desk import find_requirement
from qa.jobs.followup.record_forms import act_on_document
from qa.jobs.followup.site_record import find_statement, sign_for, withdraw_statement
from qa.model.errors import FollowupError
from qa.model.permissions import Permission, may, require
from qa.model.published import Published
from qa.views.record_page import (
    WITHDRAW,
    document_forms,
    document_view,
    sign_form,
    sign_view,
    statement_view,
)
from qa.views.scope import published_months


def add_record_pages(
    server: Flask, source: PublishedSource, make_desk: MakeDesk, *, prefix: str
) -> None:
    """Add the pages; each shows (GET) and takes its own forms (POST)."""
    where = prefix.rstrip("/")
    for form, name, make in PLAIN_PAGES:
        server.add_url_rule(
            where + form.value,
            name,
            lambda make=make: answer_form(make, source, make_desk, prefix=prefix),
            methods=["GET", "POST"],
        )


def _statement(desk: CaseDesk, published: Published, prefix: str) -> Response:
    statement_id, message = request.values.get("statement", "")[:60], ""
    if request.method == "POST":
        try:
            withdraw_statement(desk, statement_id, form=request.form)
            to = address(Form.STATEMENT, prefix=prefix, statement=statement_id)
            return see_other(to)
        except FollowupError as problem:
            message = problem.message
    one = find_statement(desk, statement_id)
    may_sign = may(desk.actor, Permission.SIGN_REQUIREMENTS, site_id=one.site_id)
    return form_page(
        published.network.name,
        prefix,
        message=message,
        view=statement_view(one, find_requirement(one.requirement_id)),
        forms=(WITHDRAW,) if may_sign and not one.withdrawn_by else (),
        sent_what=WITHDRAW.what,
        hidden=(("statement", statement_id),),
        action=address(Form.STATEMENT, prefix=prefix),
        here=Page.RECORD,
    )


def _document(desk: CaseDesk, published: Published, prefix: str) -> Response:
    document_id, message, sent = request.values.get("document", "")[:200], "", ""
    own = DocumentDesk(desk.store, desk.actor, desk.at)
    if request.method == "POST":
        sent = request.form.get("what", "")
        try:
            act_on_document(own, document_id, sent, request.form)
            to = address(Form.DOCUMENT, prefix=prefix, document=document_id)
            return see_other(to)
        except FollowupError as problem:
            message = problem.message
    one = own.document(document_id)
    user_id = desk.actor.user_id if desk.actor else ""
    return form_page(
        published.network.name,
        prefix,
        message=message,
        status=HTTPStatus.UNPROCESSABLE_ENTITY if message else HTTPStatus.OK,
        view=document_view(one, on=desk.today),
        forms=document_forms(
            one,
            user_id=user_id,
            may_approve=may(desk.actor, Permission.APPROVE_DOCUMENTS),
            may_read=may(desk.actor, Permission.CONFIRM_READING, owner=user_id),
        ),
        sent_what=sent,
        hidden=(
            ("document", document_id),
            ("seen", str(one.n_events)),
            ("fingerprint", one.fingerprint),
        ),
        action=address(Form.DOCUMENT, prefix=prefix),
        here=Page.RECORD,
    )


def _sign(desk: CaseDesk, published: Published, prefix: str) -> Response:
    site_id, message = request.values.get("site", "")[:60], ""
    requirement = find_requirement(request.values.get("requirement", "")[:60])
    require(desk.actor, Permission.SIGN_REQUIREMENTS, site_id=site_id)
    site = published.network.site(site_id)
    if site is None:
        raise FollowupError(f"there is no site '{site_id}'", code="FUP-014")
    if request.method == "POST":
        try:
            sign_for(desk, requirement.id, site_id=site_id, form=request.form)
            asked = {"site": site_id, "requirement": requirement.id, "known": KNOWN_NOW}
            month = request.form.get("from_month", "")[:7]
            to = address(Page.RECORD, prefix=prefix, month=month, **asked)
            return see_other(to)
        except FollowupError as problem:
            message = problem.message
    return form_page(
        published.network.name,
        prefix,
        message=message,
        status=HTTPStatus.UNPROCESSABLE_ENTITY if message else HTTPStatus.OK,
        view=sign_view(requirement, site.name),
        forms=(sign_form(published_months(published)[::-1][:24]),),
        sent_what=request.form.get("what", "") if request.method == "POST" else "",
        hidden=(("site", site_id), ("requirement", requirement.id)),
        action=address(Form.SIGN, prefix=prefix),
        here=Page.RECORD,
    )


PLAIN_PAGES = (
    (Form.DOCUMENT, "document", _document),
    (Form.SIGN, "sign", _sign),
    (Form.STATEMENT, "statement", _statement),
)
