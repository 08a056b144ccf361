"""Plain page of samples of second readings: draw one, see it, add to it, give exams out."""

from collections.abc import Callable
from typing import Any

from flask import Flask, Response, request
from werkzeug.datastructures import MultiDict

from dashboard.addresses import Form, address
from dashboard.case_actions import seen_of
from dashboard.case_pages import MakeDesk, answer_form, form_page
from dashboard.plain import see_other
from dashboard.reading_pages import readings_of
from dashboard.source import PublishedSource
from dashboard.who import note_view
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.second_reading import SecondReadingDesk
from qa.jobs.users.opening import names_of_people
from qa.model.errors import FollowupError, UserError
from qa.model.months import parse_month
from qa.model.permissions import Permission, may
from qa.model.published import Published
from qa.views.names import short_operator_name
from qa.views.sample_forms import ALL, draw_form, sample_forms, sample_view
from qa.views.scope import published_months

Sent = MultiDict[str, str]
MONTHS_TO_DRAW = 12


def add_sample_pages(
    server: Flask, published_source: PublishedSource, make_desk: MakeDesk, *, prefix: str
) -> None:
    """Add the page; it shows (GET) and takes its own forms (POST)."""
    server.add_url_rule(
        prefix.rstrip("/") + Form.SAMPLES.value,
        "samples",
        lambda: answer_form(_samples, published_source, make_desk, prefix=prefix),
        methods=["GET", "POST"],
    )


def _samples(desk: CaseDesk, published: Published, prefix: str) -> Response:
    readings, message = readings_of(desk, published), ""
    sample_id = request.values.get("sample", "")[:200]
    if request.method == "POST":
        try:
            what = request.form.get("what", "")
            if what not in SAMPLE_ACTIONS:
                raise FollowupError("no such form", where="samples", code="FUP-038")
            found = SAMPLE_ACTIONS[what](readings, sample_id, request.form, published)
            where = address(Form.SAMPLES, prefix=prefix, sample=found)
            return see_other(where)
        except FollowupError as problem:
            message = problem.message
    shown: dict[str, Any] = {"message": message, "sent_what": request.form.get("what", "")}
    shown["action"] = address(Form.SAMPLES, prefix=prefix)
    if not sample_id:
        return _all(readings, published, prefix, shown)
    note_view(desk, f"{Form.SAMPLES.value} sample={sample_id}", published)
    return _one(readings, sample_id, published, prefix, shown)


def _all(
    readings: SecondReadingDesk, published: Published, prefix: str, shown: dict[str, Any]
) -> Response:
    mine = [
        (one.id, short_operator_name(published.network, one.id))
        for one in published.network.operators
        if may(readings.actor, Permission.DRAW_SAMPLE, site_id=one.site)
    ]
    months = published_months(published)[::-1][:MONTHS_TO_DRAW]
    n = len(readings.samples())
    return form_page(
        published.network.name,
        prefix,
        answer=f"{n} samples were drawn." if n else "No sample was drawn yet.",
        items=("They are listed on Follow-up.",) if n else (),
        forms=(draw_form(months, tuple(mine)),) if mine else (),
        **shown,
    )


def _one(
    readings: SecondReadingDesk,
    sample_id: str,
    published: Published,
    prefix: str,
    shown: dict[str, Any],
) -> Response:
    sample = readings.sample(sample_id)
    is_drawer = may(readings.actor, Permission.DRAW_SAMPLE, site_id=sample.site_id)
    readers = readings.readers(sample.sample_id) if is_drawer else []
    view = sample_view(
        sample,
        name=short_operator_name(published.network, sample.operator_id),
        names={
            **names_of_people(readings.store),
            **{one.reader: one.name for one in readers},
        },
        told={one.code: readings.discrepancies(one) for one in sample.exams},
        places=readings.places(sample.sample_id, published) if is_drawer else {},
    )
    picks = readings.proposed_picks(sample.sample_id, published) if is_drawer else []
    return form_page(
        published.network.name,
        prefix,
        answer=view.answer,
        facts=view.facts,
        tables=(view.table,),
        forms=sample_forms(sample, picks, tuple((one.reader, one.name) for one in readers)),
        hidden=(("sample", sample.sample_id), ("seen", str(view.seen))),
        **shown,
    )


def _draw(readings: SecondReadingDesk, _: str, sent: Sent, published: Published) -> str:
    """Returns: id of the sample; "" where several were drawn."""
    try:
        month = parse_month(sent.get("month", ""))
    except UserError as problem:
        raise FollowupError(problem.message, where="month", code="FUP-037") from None
    operator = sent.get("operator", "")
    if operator != ALL:
        return readings.draw(operator[:60], month, published=published).sample_id
    done = {one.sample_id for one in readings.samples()}
    for one in readings.to_draw(month, published=published):
        if f"{one}.{month:%Y-%m}" not in done:
            readings.draw(one, month, published=published)
    return ""


def _pick(readings: SecondReadingDesk, sample_id: str, sent: Sent, published: Published) -> str:
    readings.pick(
        sample_id,
        exam_keys=sent.getlist("exams"),
        reason=sent.get("reason", ""),
        published=published,
        seen_no=seen_of(sent),
    )
    return sample_id


def _assign(readings: SecondReadingDesk, sample_id: str, sent: Sent, _: Published) -> str:
    readings.assign(
        sample_id,
        codes=sent.getlist("codes"),
        reader=sent.get("reader", ""),
        seen_no=seen_of(sent),
    )
    return sample_id


SAMPLE_ACTIONS: dict[str, Callable[[SecondReadingDesk, str, Sent, Published], str]] = {
    "draw": _draw,
    "pick": _pick,
    "assign": _assign,
}
"""What a form may ask for, by the word it sends; each answers with the sample to show next."""
