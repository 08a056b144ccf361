"""Notes at charts: drawn, listed, in the CSV; written and taken back by whom it may be."""

import csv
import io
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from dashboard.addresses import Page
from dashboard.app import create_app, render
from dashboard.figures import control_chart
from qa.followup.annotations import Annotation
from qa.jobs.followup.opening import open_record
from qa.model.permissions import Actor
from qa.views.chart import chart_view
from qa.views.chart_notes import with_notes
from tests.followup.notes import AT, MANAGER, NETWORK_TEXT, REVIEWER, keep_account
from tests.pages.sample_counts import LAST
from tests.pages.sample_published import sample_published
from tests.pages.test_case_pages import HOST, LEAD, OTHER, send
from tests.pages.test_competence_pages import Room
from tests.pages.walk import text

NOTE = "/follow-up/note"
SCRIPT = "<script>alert(1)</script>"
DAY = LAST.replace(day=9)
WRITTEN = {"what": "note", "kind": "site", "unit": "S3", "measure": "MSR-001"}
WRITTEN |= {"day": f"{DAY}", "what_happened": "new staff", "words": "Two beginners"}


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    (tmp_path / "network.toml").write_text(NETWORK_TEXT, encoding="utf-8")
    found = Room(open_record(tmp_path, environ={}))
    found.client = create_app(sample_published, make_desk=found.desk).server.test_client()
    keep_account(found.store, LEAD)
    yield found
    found.store.close()


def a_note(unit_kind: str, unit_id: str, *, day: date = DAY, words: str = "w") -> Annotation:
    site = unit_id if unit_kind == "site" else None
    at = "2026-11-04T09:30:00"
    return Annotation("NOTE-1", unit_kind, unit_id, site, day, "campaign", words, "lena", at)


def chart(*notes: Annotation, unit_kind: str = "site", unit_id: str = "S3"):
    published = sample_published()
    unit = {"unit_kind": unit_kind, "unit_id": unit_id}
    view = chart_view(published, **unit, measure_id="MSR-001", last_month=LAST, months=12)
    return with_notes(view, notes, network=published.network, names={"lena": "Lena (invented)"})


@pytest.mark.parametrize(
    ("of", "on", "is_shown"),
    [
        (("site", "S3"), ("site", "S3"), True),
        (("site", "S3"), ("site", "S1"), False),
        (("network", "network"), ("site", "S3"), True),
        (("site", "S3"), ("operator", "31"), True),
        (("site", "S1"), ("operator", "31"), False),
        (("operator", "31"), ("site", "S3"), False),
    ],
)
def test_a_note_stands_in_the_charts_of_its_unit_and_below(of, on, is_shown: bool) -> None:
    view = chart(a_note(*of), unit_kind=on[0], unit_id=on[1])
    assert [one.words for one in view.notes] == (["w"] if is_shown else [])


def test_notes_are_numbered_by_day_within_the_charts_months() -> None:
    first, last = date(2025, 11, 1), date(2026, 10, 31)
    assert (chart().points[0].month, LAST) == (first, last.replace(day=1))
    days = [last, date(2026, 11, 1), date(2025, 10, 31), first]
    view = chart(*(a_note("site", "S3", day=day) for day in days))
    assert [(one.mark, one.day) for one in view.notes] == [("▲1", first), ("▲2", last)]


def test_chart_shows_a_mark_and_a_line_at_the_day_and_escapes_the_words() -> None:
    layout = control_chart(chart(a_note("site", "S3", words=SCRIPT)))["layout"]
    (mark,) = [one for one in layout["annotations"] if one["text"] == "▲1"]
    assert mark["x"] == DAY
    assert "&lt;script&gt;" in mark["hovertext"]
    assert "<script>" not in mark["hovertext"]
    assert "Lena (invented), 2026-11-04" in mark["hovertext"]
    assert [one["x0"] for one in layout["shapes"] if one.get("x0") == DAY] == [DAY]


def test_note_is_written_shown_exported_and_taken_back(room: Room) -> None:
    room.actor = LEAD
    answer = send(room.client, NOTE, **WRITTEN)
    assert (answer.status_code, answer.location) == (303, "/site?site=S3&measure=MSR-001")
    line = f"{DAY}, new staff: Two beginners. (Lena (invented), {AT:%Y-%m-%d})"
    on_site = text(render(Page.SITE, sample_published, {"site": "S3"}, make_desk=room.desk))
    assert f"▲1  {line}" in on_site
    unit = {"operator": "31"}
    on_person = text(render(Page.OPERATORS, sample_published, unit, make_desk=room.desk))
    assert f"▲1  {DAY}, Eider Point, new staff: Two beginners." in on_person
    where = "/export/chart.csv?site=S3&measure=MSR-001"
    told = list(csv.DictReader(io.StringIO(room.client.get(where, **HOST).text)))
    assert {one["month"]: one["notes"] for one in told if one["notes"]} == {LAST.isoformat(): line}
    assert "Two beginners" in room.client.get(f"{NOTE}?kind=site&unit=S3", **HOST).text
    back = {**WRITTEN, "what": "take-back", "note": "NOTE-0001", "why": "Wrong site"}
    assert send(room.client, NOTE, **back).status_code == 303
    assert line not in text(
        render(Page.SITE, sample_published, {"site": "S3"}, make_desk=room.desk)
    )
    again = send(room.client, NOTE, **back)
    assert (again.status_code, "FUP-014" in again.text) == (422, True)


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"day": "soon"}, "FUP-037"),
        ({"day": "2999-01-01"}, "FUP-035"),
        ({"what_happened": "weather"}, "FUP-035"),
        ({"words": ""}, "FUP-011"),
        ({"what": "dance"}, "FUP-038"),
    ],
)
def test_note_that_does_not_fit_comes_back(room: Room, change: dict, code: str) -> None:
    answer = send(room.client, NOTE, **WRITTEN | {"words": SCRIPT} | change)
    assert (answer.status_code, code in answer.text) == (422, True)
    assert "<script>alert" not in answer.text


@pytest.mark.parametrize(
    ("actor", "status"), [(OTHER, 404), (REVIEWER, 403), (None, 403), (LEAD, 303), (MANAGER, 303)]
)
def test_who_writes_and_takes_back_at_a_site(room: Room, actor: Actor | None, status: int) -> None:
    send(room.client, NOTE, **WRITTEN)
    room.actor = actor
    opened = room.client.get(f"{NOTE}?kind=site&unit=S3", **HOST)
    assert "Two beginners" in opened.text or actor not in (LEAD, MANAGER)
    assert (opened.status_code == 200) == (status == 303)
    # Another site's unit is refused before it is looked at, whatever is sent.
    written = send(room.client, NOTE, **WRITTEN).status_code
    back = {**WRITTEN, "what": "take-back", "note": "NOTE-0001", "why": "x"}
    taken = send(room.client, NOTE, **back).status_code
    assert {written, taken} <= ({303} if status == 303 else {403, 404})


def test_a_forged_note_of_another_site_is_not_taken_back(room: Room) -> None:
    room.actor = OTHER
    send(room.client, NOTE, **WRITTEN | {"unit": "S1"})
    room.actor = LEAD
    back = {**WRITTEN, "what": "take-back", "note": "NOTE-0001", "why": "x"}
    assert send(room.client, NOTE, **back).status_code == 422
    room.actor = OTHER
    assert "Two beginners" in room.client.get(f"{NOTE}?kind=site&unit=S1", **HOST).text
