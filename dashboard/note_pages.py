"""Plain page of the notes at a unit's charts: write one, take one back."""

from typing import Any

from flask import Flask, Response, request

from dashboard.addresses import Form, Page, address
from dashboard.case_actions import read_day
from dashboard.case_pages import MakeDesk, answer_form, form_page
from dashboard.plain import see_other
from dashboard.source import PublishedSource
from qa.jobs.followup.annotations import add_annotation, list_annotations, withdraw_annotation
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.users.opening import names_of_people
from qa.model.errors import FollowupError
from qa.model.permissions import Permission, may
from qa.model.published import Published
from qa.model.words import UnitKind
from qa.views.names import unit_name
from qa.views.note_forms import NOTE, TAKE_BACK, note_forms, notes_table

PAGES = {
    UnitKind.SITE.value: (Page.SITE, "site"),
    UnitKind.OPERATOR.value: (Page.OPERATORS, "operator"),
}
"""The screen of a unit's charts, and how its address names the unit."""


def add_note_pages(
    server: Flask, published_source: PublishedSource, make_desk: MakeDesk, *, prefix: str
) -> None:
    """Add the page; it shows (GET) and takes its own forms (POST)."""
    server.add_url_rule(
        prefix.rstrip("/") + Form.NOTE.value,
        "chart-note",
        lambda: answer_form(_notes, published_source, make_desk, prefix=prefix),
        methods=["GET", "POST"],
    )


def _notes(desk: CaseDesk, published: Published, prefix: str) -> Response:
    kind, unit = request.values.get("kind", "")[:60], request.values.get("unit", "")[:60]
    measure, message = request.values.get("measure", "")[:60], ""
    if request.method == "POST":
        try:
            _act(desk, published, kind, unit)
            return see_other(_back(kind, unit, measure, prefix=prefix))
        except FollowupError as problem:
            message = problem.message
    elsewhere = may(desk.actor, Permission.ANNOTATE)
    if not elsewhere and (kind, unit) not in _own_units(desk, published):
        raise FollowupError("there is no such chart for this account", code="FUP-014")
    found = [
        one
        for one in list_annotations(desk.store, actor=desk.actor)
        if (one.unit_kind, one.unit_id) == (kind, unit)
    ]
    shown = unit_name(published.network, kind, unit)
    table = notes_table(found, names=names_of_people(desk.store))
    return form_page(
        published.network.name,
        prefix,
        message=message,
        answer=f"What happened at {shown}?",
        items=("A note stands in the charts at its day, with your name, for all who see them.",),
        tables=(table,) if found else (),
        forms=note_forms(found),
        sent_what=request.form.get("what", ""),
        hidden=(("kind", kind), ("unit", unit), ("measure", measure)),
        action=address(Form.NOTE, prefix=prefix),
        here=PAGES.get(kind, (Page.FOLLOWUP, ""))[0],
    )


def _own_units(desk: CaseDesk, published: Published) -> set[tuple[str, str]]:
    """Units at whose charts a site lead writes: own sites, and who and what is at home there."""
    network = published.network
    units = [(UnitKind.SITE.value, one.id, one.id) for one in network.sites]
    units += [(UnitKind.OPERATOR.value, one.id, one.site) for one in network.operators]
    units += [(UnitKind.DEVICE.value, one.id, one.site) for one in network.devices]
    return {
        (kind, unit)
        for kind, unit, site in units
        if may(desk.actor, Permission.ANNOTATE, site_id=site)
    }


def _back(kind: str, unit: str, measure: str, *, prefix: str) -> str:
    page, name = PAGES.get(kind, (Page.FOLLOWUP, ""))
    return address(page, prefix=prefix, **({name: unit, "measure": measure} if name else {}))


def _act(desk: CaseDesk, published: Published, kind: str, unit: str) -> None:
    sent = request.form
    who: dict[str, Any] = {"actor": desk.actor, "at": desk.at}
    what = sent.get("what", "")
    if what == NOTE.what:
        add_annotation(
            desk.store,
            network=published.network,
            unit_kind=kind,
            unit_id=unit,
            day=read_day(sent, "day"),
            kind=sent.get("what_happened", ""),
            words=sent.get("words", ""),
            **who,
        )
    elif what == TAKE_BACK.what:
        withdraw_annotation(desk.store, sent.get("note", "")[:60], why=sent.get("why", ""), **who)
    else:
        raise FollowupError("no such form", where="note", code="FUP-038")
