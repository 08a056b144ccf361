"""Plain page of one operator's file: read it, and keep it. It works without JavaScript."""

from collections.abc import Callable

from flask import Flask, Response, request
from werkzeug.datastructures import MultiDict

from dashboard.addresses import Form, Page, address
from dashboard.case_actions import read_day, read_number, seen_of
from dashboard.case_pages import MakeDesk, answer_form, form_page
from dashboard.plain import see_other
from dashboard.source import PublishedSource
from dashboard.who import note_view
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.competence import CompetenceDesk
from qa.jobs.users.opening import names_of_people
from qa.model.errors import FollowupError
from qa.model.permissions import Permission
from qa.model.published import Published
from qa.views.competence import file_facts
from qa.views.names import short_operator_name
from qa.views.operator_forms import NOT_YET, SIGNED, file_forms, file_view, needed_words

Sent = MultiDict[str, str]


def add_operator_pages(
    server: Flask, published_source: PublishedSource, make_desk: MakeDesk, *, prefix: str
) -> None:
    """Add the page; it shows (GET) and takes its own forms (POST)."""
    server.add_url_rule(
        prefix.rstrip("/") + Form.OPERATOR_FILE.value,
        "operator-file",
        lambda: answer_form(_one_file, published_source, make_desk, prefix=prefix),
        methods=["GET", "POST"],
    )


def _one_file(desk: CaseDesk, published: Published, prefix: str) -> Response:
    files = CompetenceDesk(desk.store, published.network, desk.actor, desk.at)
    operator_id, message = request.values.get("operator", "")[:60], ""
    if request.method == "POST":
        try:
            _act(files, operator_id, request.form)
            where = address(Form.OPERATOR_FILE, prefix=prefix, operator=operator_id)
            return see_other(where)
        except FollowupError as problem:
            message = problem.message
    file = files.file(operator_id)
    standing = files.standing(operator_id, published)
    note_view(desk, f"{Form.OPERATOR_FILE.value} operator={operator_id}", published)
    n_needed = published.network.settings.observed_exams_needed
    view = file_view(
        file,
        standing,
        name=short_operator_name(published.network, operator_id),
        names=names_of_people(desk.store),
    )
    may_authorise = files.may_keep(operator_id, Permission.AUTHORISE)
    forms = file_forms(
        file,
        on=files.today,
        may_keep=files.may_keep(operator_id, Permission.KEEP_COMPETENCE),
        may_authorise=may_authorise,
        is_own=files.is_own(operator_id),
        n_needed=n_needed,
    )
    missing = needed_words(file, n_needed=n_needed) if may_authorise else ""
    return form_page(
        published.network.name,
        prefix,
        message=message,
        answer=view.answer,
        items=(missing,) if missing else (),
        facts=file_facts(file if file.n_events else None, standing, can_enter=bool(forms)),
        tables=view.tables,
        forms=forms,
        sent_what=request.form.get("what", ""),
        hidden=(("operator", operator_id), ("seen", str(view.seen))),
        action=address(Form.OPERATOR_FILE, prefix=prefix),
        here=Page.OPERATORS,
    )


def _act(files: CompetenceDesk, operator_id: str, sent: Sent) -> None:
    what = sent.get("what", "")
    if what not in FILE_ACTIONS:
        raise FollowupError("no such form", where=operator_id, code="FUP-038")
    FILE_ACTIONS[what](files, operator_id, sent)


def _taught(sent: Sent) -> dict:
    return {
        "day": read_day(sent, "day"),
        "given_by": sent.get("given_by", ""),
        "words": sent.get("words", ""),
        "seen_no": seen_of(sent),
    }


def _observe(files: CompetenceDesk, operator_id: str, sent: Sent) -> object:
    verdict = sent.get("verdict", "")
    if verdict not in (SIGNED, NOT_YET):
        raise FollowupError(
            "no verdict was chosen",
            where="verdict",
            expected=f"{SIGNED} or {NOT_YET}",
            code="FUP-027",
        )
    return files.observe(
        operator_id,
        day=read_day(sent, "day"),
        observer=sent.get("observer", ""),
        is_satisfactory=verdict == SIGNED,
        words=sent.get("words", ""),
        seen_no=seen_of(sent),
    )


def _earlier(files: CompetenceDesk, operator_id: str, sent: Sent) -> object:
    return files.state_earlier(
        operator_id,
        n=int(read_number(sent, "n")),
        words=sent.get("words", ""),
        seen_no=seen_of(sent),
    )


def _authorise(files: CompetenceDesk, operator_id: str, sent: Sent) -> object:
    return files.authorise(
        operator_id,
        technique=sent.get("technique", ""),
        probe=sent.get("probe", ""),
        from_day=read_day(sent, "from_day"),
        to_day=read_day(sent, "to_day") if sent.get("to_day") else None,
        seen_no=seen_of(sent),
    )


def _end(files: CompetenceDesk, operator_id: str, sent: Sent) -> object:
    return files.end_authorisation(
        operator_id,
        int(read_number(sent, "number")),
        to_day=read_day(sent, "to_day"),
        why=sent.get("why", ""),
        seen_no=seen_of(sent),
    )


FILE_ACTIONS: dict[str, Callable[[CompetenceDesk, str, Sent], object]] = {
    "train": lambda files, one, sent: files.train(one, **_taught(sent)),
    "refresh": lambda files, one, sent: files.refresh(one, **_taught(sent)),
    "observe": _observe,
    "earlier": _earlier,
    "authorise": _authorise,
    "end": _end,
}
"""What a form may ask for, by the word it sends."""
