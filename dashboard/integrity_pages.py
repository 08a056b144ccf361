"""Plain page of one question about data: release it to its site, or take it back."""

from flask import Flask, Response, request

from dashboard.addresses import Form, Page, address
from dashboard.case_pages import MakeDesk, answer_form, form_page
from dashboard.plain import see_other
from dashboard.source import PublishedSource
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.integrity import one_question, release, take_back
from qa.model.errors import FollowupError
from qa.model.published import Published
from qa.views.case_page import TEXT, Field, FormShown

_WHY = (Field("why", "Why", TEXT),)
RELEASE = FormShown("release", "Let the site read it", "Release", _WHY)
TAKE_BACK = FormShown("take-back", "Show it no more", "Take back", _WHY)


def add_integrity_pages(
    server: Flask, published_source: PublishedSource, make_desk: MakeDesk, *, prefix: str
) -> None:
    """Add the page; it shows (GET) and takes its own forms (POST)."""
    server.add_url_rule(
        prefix.rstrip("/") + Form.RELEASE.value,
        "release-question",
        lambda: answer_form(_release, published_source, make_desk, prefix=prefix),
        methods=["GET", "POST"],
    )


def _release(desk: CaseDesk, published: Published, prefix: str) -> Response:
    question_id, message = request.values.get("question", "")[:200], ""
    if request.method == "POST":
        try:
            _act(desk, question_id, published)
            return see_other(address(Page.OPERATORS, prefix=prefix))
        except FollowupError as problem:
            message = problem.message
    one = one_question(desk.store, question_id, actor=desk.actor, published=published)
    return form_page(
        published.network.name,
        prefix,
        message=message,
        answer="May the site read this question?",
        items=(
            f"{one.name}: {one.words}",
            f"Think first of: {one.innocent}",
            f"It was {one.released_text}." if one.released_text else "It is not released.",
        ),
        forms=(TAKE_BACK,) if one.released_text else (RELEASE,),
        sent_what=request.form.get("what", ""),
        hidden=(("question", question_id),),
        action=address(Form.RELEASE, prefix=prefix),
    )


def _act(desk: CaseDesk, question_id: str, published: Published) -> None:
    what, why = request.form.get("what", ""), request.form.get("why", "")
    if what == RELEASE.what:
        release(desk.store, question_id, why=why, published=published, actor=desk.actor, at=desk.at)
    elif what == TAKE_BACK.what:
        take_back(desk.store, question_id, why=why, actor=desk.actor, at=desk.at)
    else:
        raise FollowupError("no such decision", where=question_id, code="FUP-038")
