"""Follow-up and Operators with operators' files; the reader's form; a reading that differs."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from dashboard.addresses import Page
from dashboard.app import create_app, render
from qa.jobs.followup.annotations import add_annotation
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.competence import CompetenceDesk
from qa.jobs.followup.opening import open_record
from qa.jobs.followup.second_reading import ReadForm, SecondReadingDesk
from qa.model.permissions import Actor, Role
from qa.stores.followup.store import FollowupStore
from tests.followup.notes import AT, MANAGER, NETWORK_TEXT, REVIEWER, keep_account
from tests.pages.sample_counts import LAST
from tests.pages.sample_published import sample_published
from tests.pages.test_case_pages import HOST, OTHER, send
from tests.pages.walk import addresses, text

READER = Actor("rosa", "Rosa (invented)", (Role.OPERATOR,), operator_id="32")
SAMPLE_ID = f"31.{LAST:%Y-%m}"


@dataclass
class Room:
    """A store, an app on it, and who sends the next request."""

    store: FollowupStore
    client: FlaskClient | None = None
    actor: Actor | None = MANAGER

    def desk(self) -> CaseDesk:
        return CaseDesk(self.store, self.actor, AT)

    def files(self) -> CompetenceDesk:
        return CompetenceDesk(self.store, sample_published().network, MANAGER, AT)

    def readings(self, actor: Actor = MANAGER) -> SecondReadingDesk:
        return SecondReadingDesk(self.store, sample_published().network, actor, AT)

    def shown(self, page: Page = Page.FOLLOWUP, **query: str) -> str:
        return text(render(page, sample_published, query, make_desk=self.desk))


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    (tmp_path / "network.toml").write_text(NETWORK_TEXT, encoding="utf-8")
    found = Room(open_record(tmp_path, environ={}))
    found.client = create_app(sample_published, make_desk=found.desk).server.test_client()
    yield found
    found.store.close()


def authorise(room: Room) -> None:
    for _ in range(3):
        room.files().observe("31", day=LAST, observer="Ada (invented)", is_satisfactory=True)
    told = {"technique": "TE", "probe": "any", "from_day": LAST}
    room.files().authorise("31", **told, to_day=LAST.replace(day=9))


def test_follow_up_says_that_no_file_was_begun(room: Room) -> None:
    shown = room.shown()
    assert "No operator's file was begun yet." in shown
    assert "outside an authorisation" not in shown
    assert "No sample was drawn yet." in shown


def test_follow_up_lists_who_lacks_what_and_exams_outside(room: Room) -> None:
    authorise(room)
    shown = room.shown()
    assert "No authorisation in force." in shown
    assert "were done outside an authorisation." in shown
    assert "Not authorised on that day." in shown
    assert "No authorisation on record." in shown


def test_operators_screen_shows_the_file_in_short(room: Room) -> None:
    assert "No file was begun." in room.shown(Page.OPERATORS, operator="31")
    authorise(room)
    shown = room.shown(Page.OPERATORS, operator="31")
    last = LAST.replace(day=9)
    assert f"1. TE, any, from {LAST} to {last}" in shown
    assert "3 signed off." in shown
    room.actor = OTHER
    assert "3 signed off." not in room.shown(Page.OPERATORS, operator="31")
    assert "File: training" not in text(
        render(Page.OPERATORS, sample_published, {"operator": "31"})
    )


def draw(room: Room) -> list[str]:
    room.readings().draw("31", LAST, published=sample_published(), seed="1")
    keep_account(room.store, READER)
    room.readings().assign(SAMPLE_ID, reader="rosa")
    return [one.code for one in room.readings().sample(SAMPLE_ID).exams]


def test_reader_s_form_shows_no_first_result_and_takes_the_second(room: Room) -> None:
    code, *_ = draw(room)
    exam = room.readings().sample(SAMPLE_ID).exam(code)
    room.actor = READER
    body = room.client.get("/follow-up/read", **HOST).text
    assert "3 exams wait for your reading." in body
    assert exam.shown in body
    assert exam.exam_key not in body
    assert "Operator 31" not in body
    assert body.count(f'<option value="{exam.first.outcome}">') == 3
    bad = {"outcome": "failed", "stiffness_kpa": "much", "words": "<b>dark</b>"}
    answer = send(room.client, "/follow-up/read", what=code, **bad)
    assert (answer.status_code, "FUP-037" in answer.text) == (422, True)
    assert "&lt;b&gt;dark&lt;/b&gt;</textarea>" in answer.text
    answer = send(room.client, "/follow-up/read", what=code, outcome="failed", stiffness_kpa="")
    assert (answer.status_code, answer.location) == (303, "/follow-up/read")
    assert "2 exams wait for your reading." in room.client.get("/follow-up/read", **HOST).text
    again = send(room.client, "/follow-up/read", what=code, outcome="reliable")
    assert (again.status_code, "FUP-054" in again.text) == (422, True)


@pytest.mark.parametrize("actor", [REVIEWER, None])
def test_who_may_not_read_gets_no_form(room: Room, actor: Actor | None) -> None:
    code, *_ = draw(room)
    room.actor = actor
    assert room.client.get("/follow-up/read", **HOST).status_code == 403
    answer = send(room.client, "/follow-up/read", what=code, outcome="failed")
    assert answer.status_code == 403
    assert room.readings().sample(SAMPLE_ID).n_read == 0


def test_form_of_another_page_is_not_looked_at(room: Room) -> None:
    code, *_ = draw(room)
    room.actor = READER
    evil = {"Origin": "http://evil.example"}
    assert (
        send(room.client, "/follow-up/read", evil, what=code, outcome="failed").status_code == 403
    )
    assert room.readings().sample(SAMPLE_ID).n_read == 0


def test_reading_that_differs_becomes_a_case(room: Room) -> None:
    code, other, _ = draw(room)
    first = room.readings().sample(SAMPLE_ID).exam(code).first.outcome
    said = "failed" if first != "failed" else "reliable"
    same = room.readings().sample(SAMPLE_ID).exam(other).first.outcome
    room.readings(READER).read([ReadForm(code, said, words="<i>dark</i>"), ReadForm(other, same)])
    layout = render(Page.FOLLOWUP, sample_published, {}, make_desk=room.desk)
    assert "1 of 2 exams drawn by chance had the same outcome twice" in text(layout)
    (where,) = [one for one in addresses(layout) if "/follow-up/differs" in one]
    body = room.client.get(where, **HOST).text
    assert f"outcome {first} and {said}" in body
    assert "&lt;i&gt;dark&lt;/i&gt;" in body
    told = {"what": "differs", "sample": SAMPLE_ID, "code": code, "owner": "lena"}
    assert send(room.client, "/follow-up/differs", **told, due_on="soon").status_code == 422
    answer = send(room.client, "/follow-up/differs", **told, due_on="2026-11-18")
    assert (answer.status_code, answer.location) == (303, "/follow-up/case?case=CASE-0001")
    assert "<form" not in room.client.get(where, **HOST).text
    room.actor = OTHER
    assert room.client.get(where, **HOST).status_code == 404
    room.actor = MANAGER
    agreed = where.replace(code, other)
    assert room.client.get(agreed, **HOST).status_code == 404


def test_follow_up_shows_notes_and_the_criterion_of_a_case(room: Room) -> None:
    add_annotation(
        room.store,
        network=sample_published().network,
        unit_kind="site",
        unit_id="S3",
        day=date(2026, 10, 5),
        kind="new staff",
        words="Two <b>new</b> people",
        actor=MANAGER,
        at=AT,
    )
    shown = room.shown()
    assert "Notes at charts" in shown
    assert "Two <b>new</b> people" in shown
