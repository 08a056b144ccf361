"""Plain pages with forms: one case, and opening one. They work without JavaScript.

A form that is refused comes back as it was filled in, with the reason above it. Until there are
accounts, the pages answer only on this machine.
"""

import logging
from collections.abc import Callable
from http import HTTPStatus
from typing import Any

from flask import Flask, Response, request

from dashboard.addresses import TITLES, Form, Page, address
from dashboard.case_actions import ACTIONS, open_case
from dashboard.own_form import Refused, require_own_form, require_own_host
from dashboard.plain import screen_page, see_other
from dashboard.source import PublishedSource
from dashboard.who import csrf_of_request
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.evidence import sites_to_open
from qa.jobs.followup.signals import take_up_item
from qa.jobs.users.opening import names_of_people
from qa.model.errors import AccessRefused, FollowupError, UserError
from qa.model.permissions import Permission, may
from qa.model.published import Published
from qa.views.case_page import (
    DISMISS,
    TAKE_UP,
    FormShown,
    case_view,
    forms_of,
    open_form,
)
from qa.views.shown import Table

LOG = logging.getLogger("elastoqa.dashboard")
MAX_FORM_BYTES = 1024 * 1024
MAX_FORM_PARTS = 6_000
GONE = ("FUP-014", "FUP-020")

MakeDesk = Callable[[], CaseDesk]
"""Gives the desk of whoever sends the request, at this moment."""


def add_case_pages(
    server: Flask, published_source: PublishedSource, make_desk: MakeDesk, *, prefix: str
) -> None:
    """Add both pages; each shows (GET) and takes its own forms (POST)."""

    def show(make: Callable[[CaseDesk, Published, str], Response]) -> Response:
        return answer_form(make, published_source, make_desk, prefix=prefix)

    where = prefix.rstrip("/")
    for form, name, make in (
        (Form.CASE, "case", _one_case),
        (Form.OPEN_CASE, "open-case", _open_one),
        (Form.REVIEW, "review", _review),
    ):
        server.add_url_rule(
            where + form.value, name, lambda make=make: show(make), methods=["GET", "POST"]
        )


def answer_form(
    make: Callable[[CaseDesk, Published, str], Response],
    source: PublishedSource,
    make_desk: MakeDesk,
    *,
    prefix: str,
) -> Response:
    """A page with forms for one request; whatever is refused is said in words."""
    try:
        require_own_host("Decisions can be made")
        if request.method == "POST":
            require_own_form("The decision")
            request.max_content_length = MAX_FORM_BYTES
            request.max_form_parts = MAX_FORM_PARTS
        return make(make_desk(), source(), prefix)
    except Refused as problem:
        return form_page("", prefix, message=str(problem), status=problem.status)
    except AccessRefused as problem:
        return form_page("", prefix, message=problem.message, status=HTTPStatus.FORBIDDEN)
    except UserError as problem:
        is_gone = problem.code in GONE
        status = HTTPStatus.NOT_FOUND if is_gone else HTTPStatus.UNPROCESSABLE_ENTITY
        return form_page("", prefix, message=problem.message, status=status)
    except Exception:  # A fault of ours: the log keeps it, the reader gets words.
        LOG.exception("a decision failed")
        message = "This could not be done. The fault is ours and is in the log."
        return form_page("", prefix, message=message, status=HTTPStatus.INTERNAL_SERVER_ERROR)


def _one_case(desk: CaseDesk, published: Published, prefix: str) -> Response:
    case_id, message, sent_what = request.values.get("case", "")[:60], "", ""
    if request.method == "POST":
        sent_what = request.form.get("what", "")
        try:
            if sent_what not in ACTIONS:
                raise FollowupError("no such decision", where=case_id, code="FUP-038")
            ACTIONS[sent_what](desk, case_id, request.form, published)
            return see_other(address(Form.CASE, prefix=prefix, case=case_id))
        except FollowupError as problem:
            message = problem.message
    case = desk.case(case_id)
    forms = forms_of(
        case,
        on=desk.today,
        measures=published.definitions.measures,
        may_work=may(desk.actor, Permission.WORK_CASES, site_id=case.site_id),
        may_decide=may(desk.actor, Permission.DECIDE_CASES, site_id=case.site_id),
    )
    view = case_view(
        case,
        _effect(desk, case_id, published),
        network=published.network,
        on=desk.today,
        forms=forms,
        names=names_of_people(desk.store),
    )
    return form_page(
        published.network.name,
        prefix,
        message=message,
        view=view,
        forms=view.forms,
        sent_what=sent_what,
        hidden=(("case", case_id), ("seen", str(view.seen))),
        action=address(Form.CASE, prefix=prefix),
    )


def _effect(desk: CaseDesk, case_id: str, published: Published) -> Any:
    """Nothing where the snapshot does not know the measure any more."""
    try:
        return desk.preview(case_id, published=published)
    except FollowupError:
        return None


def _open_one(desk: CaseDesk, published: Published, prefix: str) -> Response:
    message, sent_what, items = "", "", [one[:200] for one in request.values.getlist("item") if one]
    if request.method == "POST":
        sent_what = request.form.get("what", "")
        try:
            if sent_what == DISMISS.what:
                desk.dismiss(items, why=request.form.get("why", ""), published=published)
                return see_other(address(Page.FOLLOWUP, prefix=prefix))
            case_id = open_case(desk, request.form, published)
            return see_other(address(Form.CASE, prefix=prefix, case=case_id))
        except FollowupError as problem:
            message = problem.message
    form = open_form(sites_to_open(desk.actor, published.network), has_items=bool(items))
    return form_page(
        published.network.name,
        prefix,
        message=message,
        forms=(form, DISMISS) if items and may(desk.actor, Permission.DECIDE_CASES) else (form,),
        sent_what=sent_what,
        hidden=tuple(("item", one) for one in items),
        action=address(Form.OPEN_CASE, prefix=prefix),
        items=tuple(desk.findings(items, published)),
    )


def _review(desk: CaseDesk, published: Published, prefix: str) -> Response:
    """An item that is not pursued, and taking it up again."""
    item_id, message = request.values.get("item", "")[:200], ""
    if request.method == "POST":
        try:
            why = request.form.get("why", "")
            take_up_item(desk.store, item_id, why=why, actor=desk.actor, at=desk.at)
            return see_other(address(Page.FOLLOWUP, prefix=prefix))
        except FollowupError as problem:
            message = problem.message
    found = [one for one in desk.reviews() if one.item_id == item_id and one.is_dismissed]
    if not found:
        raise FollowupError("no such signal is reviewed", where=item_id[:60], code="FUP-014")
    who = names_of_people(desk.store).get(found[0].by, found[0].by)
    return form_page(
        published.network.name,
        prefix,
        message=message,
        answer="Take this signal up again?",
        items=(found[0].finding, f"Not pursued by {who}, {found[0].at[:10]}: {found[0].why}"),
        forms=(TAKE_UP,),
        sent_what=request.form.get("what", ""),
        hidden=(("item", item_id),),
        action=address(Form.REVIEW, prefix=prefix),
    )


def form_page(
    network: str,
    prefix: str,
    *,
    message: str,
    status: HTTPStatus | None = None,
    view: Any = None,
    forms: tuple[FormShown, ...] = (),
    sent_what: str = "",
    hidden: tuple[tuple[str, str], ...] = (),
    action: str = "",
    items: tuple[str, ...] = (),
    answer: str = "",
    here: Page = Page.FOLLOWUP,
    facts: tuple[tuple[str, str], ...] = (),
    tables: tuple[Table, ...] = (),
    file: tuple[str, str] | None = None,
) -> Response:
    """The page itself. answer: its heading; "": that of opening a case.

    file: title and address of a file to fetch.

    sent_what: the form that was sent; with a message it comes back as it was filled in.
    """
    if status is None:
        status = HTTPStatus.UNPROCESSABLE_ENTITY if message else HTTPStatus.OK
    return screen_page(
        "case.html",
        prefix=prefix,
        here=TITLES[here],
        status=status,
        network=network or "Elastography QA",
        message=message,
        answer=answer or _heading(has_forms=bool(forms)),
        view=view,
        forms=forms,
        sent_what=sent_what,
        sent=request.form if request.method == "POST" and message else {},
        hidden=(("csrf_token", csrf_of_request()), *hidden),
        action=action,
        items=items,
        facts=facts,
        tables=tables,
        file=file,
    )


def _heading(*, has_forms: bool) -> str:
    """Of a page that has no answer of its own."""
    if has_forms:
        return "What is to be followed up?"
    return "Nothing was changed." if request.method == "POST" else "There is nothing to show here."
