"""Plain pages of second readings: a reader's exams, and a case from a reading that differs."""

from datetime import date

from flask import Flask, Response, request
from werkzeug.datastructures import MultiDict

from dashboard.addresses import Form, address
from dashboard.case_actions import read_day, read_number
from dashboard.case_pages import MakeDesk, answer_form, form_page
from dashboard.plain import see_other
from dashboard.source import PublishedSource
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.second_reading import ReadForm, SecondReadingDesk
from qa.model.errors import FollowupError
from qa.model.published import Published
from qa.views.case_page import DAY, LINE, Field, FormShown
from qa.views.second_readings import reading_answer, reading_forms

DIFFERS = FormShown(
    "differs",
    "Follow it up",
    "Open the case",
    (Field("owner", "Who answers for it", LINE), Field("due_on", "By which day", DAY)),
)


def add_reading_pages(
    server: Flask, published_source: PublishedSource, make_desk: MakeDesk, *, prefix: str
) -> None:
    """Add both pages; each shows (GET) and takes its own forms (POST)."""
    for form, name, make in (
        (Form.READ, "read-again", _read_again),
        (Form.DIFFERS, "differs", _differs),
    ):
        server.add_url_rule(
            prefix.rstrip("/") + form.value,
            name,
            lambda make=make: answer_form(make, published_source, make_desk, prefix=prefix),
            methods=["GET", "POST"],
        )


def readings_of(desk: CaseDesk, published: Published) -> SecondReadingDesk:
    """The same person's desk of second readings."""
    return SecondReadingDesk(desk.store, published.network, desk.actor, desk.at)


def _read_again(desk: CaseDesk, published: Published, prefix: str) -> Response:
    readings, message = readings_of(desk, published), ""
    if request.method == "POST":
        try:
            readings.read([_form(request.form)])
            return see_other(address(Form.READ, prefix=prefix))
        except FollowupError as problem:
            message = problem.message
    tasks = readings.tasks()
    return form_page(
        published.network.name,
        prefix,
        message=message,
        answer=reading_answer(len(tasks)),
        items=(
            "You see no first result here, so that yours is your own. Look at the exam as it was "
            "stored, say how it was done, and enter figures only as you read them there.",
        ),
        forms=reading_forms(tasks),
        sent_what=request.form.get("what", ""),
        action=address(Form.READ, prefix=prefix),
    )


def _form(sent: MultiDict[str, str]) -> ReadForm:
    return ReadForm(
        code=sent.get("what", ""),
        outcome=sent.get("outcome", ""),
        stiffness_kpa=_figure(sent, "stiffness_kpa"),
        attenuation_db_m=_figure(sent, "attenuation_db_m"),
        words=sent.get("words", ""),
    )


def _figure(sent: MultiDict[str, str], name: str) -> float | None:
    return read_number(sent, name) if sent.get(name, "").strip() else None


def _differs(desk: CaseDesk, published: Published, prefix: str) -> Response:
    readings, message = readings_of(desk, published), ""
    sample_id = request.values.get("sample", "")[:200]
    code = request.values.get("code", "")[:20]
    sample = readings.sample(sample_id)
    exam = sample.exam(code)
    told = readings.discrepancies(exam) if exam else ()
    if exam is None or not told:
        raise FollowupError("no reading here differs", where=f"exam {code}", code="FUP-014")
    if request.method == "POST":
        try:
            due_on: date = read_day(request.form, "due_on")
            owner = request.form.get("owner", "")
            case = readings.open_case(sample_id, code, owner=owner, due_on=due_on)
            where = address(Form.CASE, prefix=prefix, case=case.case_id)
            return see_other(where)
        except FollowupError as problem:
            message = problem.message
    return form_page(
        published.network.name,
        prefix,
        message=message,
        answer="First and second reading differ.",
        items=(f"Exam {code}, {exam.shown}: {'; '.join(told)}.", *_remarks(exam.words)),
        forms=() if exam.case_id else (DIFFERS,),
        sent_what=request.form.get("what", ""),
        hidden=(("sample", sample_id), ("code", code)),
        action=address(Form.DIFFERS, prefix=prefix),
    )


def _remarks(words: str) -> tuple[str, ...]:
    return (f"The second reader: {words}",) if words else ()
