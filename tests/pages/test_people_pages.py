"""Plain pages of operators' files and of samples: what they take and what they refuse."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from dashboard.app import create_app
from dashboard.operator_pages import FILE_ACTIONS
from dashboard.sample_pages import SAMPLE_ACTIONS
from qa.jobs.followup.opening import open_record
from qa.jobs.followup.trail import verify_trail
from qa.model.permissions import Actor, Role
from tests.followup.notes import MANAGER, NETWORK_TEXT, REVIEWER, keep_account
from tests.pages.sample_counts import LAST
from tests.pages.sample_published import sample_published
from tests.pages.test_case_pages import HOST, LEAD, OTHER, send
from tests.pages.test_competence_pages import READER, SAMPLE_ID, Room

FILE, SAMPLES = "/operators/file", "/follow-up/samples"
SCRIPT = "<script>alert(1)</script>"
OWN = Actor("olga", "Olga (invented)", (Role.OPERATOR,), operator_id="31")
DAY = f"{LAST:%Y-%m}-03"
TAUGHT = {"day": DAY, "given_by": "Ada (invented)", "words": "Two days"}
WATCHED = {"what": "observe", "day": DAY, "observer": "Ada (invented)", "verdict": "signed off"}
ALLOW = {"what": "authorise", "technique": "TE", "probe": "any", "from_day": DAY}


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    (tmp_path / "network.toml").write_text(NETWORK_TEXT, encoding="utf-8")
    found = Room(open_record(tmp_path, environ={}))
    found.client = create_app(sample_published, make_desk=found.desk).server.test_client()
    yield found
    found.store.close()


def keep(room: Room, seen: int, **fields: str):
    return send(room.client, FILE, operator="31", seen=str(seen), **fields)


def shown(room: Room, where: str = f"{FILE}?operator=31") -> str:
    answer = room.client.get(where, **HOST)
    assert answer.status_code == 200, answer.text
    return answer.text


def test_file_is_kept_by_forms_from_training_to_the_end(room: Room) -> None:
    room.actor = LEAD
    assert keep(room, 0, what="train", **TAUGHT).location == f"{FILE}?operator=31"
    for no in (1, 2, 3):
        assert keep(room, no, **WATCHED).status_code == 303
    assert keep(room, 4, what="earlier", n="40", words="Old list").status_code == 303
    assert "form-authorise" not in shown(room), "a site lead authorises nobody"
    assert keep(room, 5, **ALLOW).status_code == 403
    room.actor = MANAGER
    assert keep(room, 5, **ALLOW).status_code == 303
    assert keep(room, 6, what="refresh", **TAUGHT).status_code == 303
    body = shown(room)
    assert "TE, any probe" in body
    assert "Old list" in body
    ended = keep(room, 7, what="end", number="1", to_day=DAY, why="On leave")
    assert ended.status_code == 303
    assert "On leave" in shown(room)
    file = room.files().file("31")
    assert (len(file.trainings), len(file.refreshers), file.n_satisfactory) == (1, 1, 3)
    assert (file.n_earlier, file.authorisations[0].why_ended) == (40, "On leave")
    assert verify_trail(room.store).is_whole


def test_second_of_two_is_told_what_the_first_changed(room: Room) -> None:
    assert keep(room, 0, what="train", **TAUGHT).status_code == 303
    late = keep(room, 0, what="train", **TAUGHT | {"words": "My own words"})
    assert late.status_code == 422
    assert "FUP-010" in late.text
    assert "Ada (invented): Two days" in late.text, "what the other wrote"
    assert "My own words</textarea>" in late.text, "nothing typed is lost"
    assert len(room.files().file("31").trainings) == 1


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"what": "train", **TAUGHT, "day": "soon"}, "FUP-037"),
        ({"what": "train", **TAUGHT, "day": "2999-01-01"}, "FUP-040"),
        ({"what": "train", **TAUGHT, "words": " "}, "FUP-011"),
        ({"what": "train", **TAUGHT, "words": "x" * 401}, "FUP-012"),
        ({**WATCHED, "verdict": "maybe"}, "FUP-027"),
        ({**WATCHED, "verdict": "not yet"}, "FUP-041"),
        ({"what": "earlier", "n": "-1", "words": "x"}, "FUP-042"),
        ({"what": "earlier", "n": "nan", "words": "x"}, "FUP-037"),
        (ALLOW, "FUP-045"),
        ({"what": "end", "number": "1", "to_day": DAY, "why": "x"}, "FUP-046"),
        ({"what": "dance"}, "FUP-038"),
    ],
)
def test_what_does_not_fit_is_refused_in_words(room: Room, fields: dict, code: str) -> None:
    answer = keep(room, 0, **fields)
    assert (answer.status_code, code in answer.text) == (422, True)
    assert room.files().file("31").n_events == 0


def test_script_in_every_text_field_of_a_file_stays_text(room: Room) -> None:
    bad = {"day": DAY, "given_by": SCRIPT, "words": SCRIPT}
    assert keep(room, 0, what="train", **bad).status_code == 303
    assert keep(room, 1, what="refresh", **bad).status_code == 303
    for no in (2, 3, 4):
        assert keep(room, no, **WATCHED | {"observer": SCRIPT, "words": SCRIPT}).status_code == 303
    assert keep(room, 5, what="earlier", n="1", words=SCRIPT).status_code == 303
    assert keep(room, 6, **ALLOW).status_code == 303
    told = {"number": "1", "to_day": DAY, "why": SCRIPT}
    assert keep(room, 7, what="end", **told).status_code == 303
    body = shown(room)
    assert "<script>alert" not in body
    assert body.count("&lt;script&gt;") >= 7
    refused = keep(room, 8, what="train", **bad | {"day": ""})
    assert "<script>alert" not in refused.text


def test_who_sees_and_keeps_which_file(room: Room) -> None:
    keep(room, 0, what="train", **TAUGHT)
    room.actor = OWN
    body = shown(room)
    assert "Two days" in body
    assert "<form" not in body, "the operator reads the own file only"
    assert keep(room, 1, what="train", **TAUGHT).status_code == 403
    assert room.client.get(f"{FILE}?operator=32", **HOST).status_code == 404
    room.actor = REVIEWER
    assert "<form" not in shown(room)
    room.actor = OTHER
    for operator in ("31", "nobody", ""):
        answer = room.client.get(f"{FILE}?operator={operator}", **HOST)
        assert (answer.status_code, "Two days" in answer.text) == (404, False)
    assert keep(room, 1, what="train", **TAUGHT).status_code == 404
    assert len(room.files().file("31").trainings) == 1


def test_nobody_signs_off_or_authorises_the_own_exams(room: Room) -> None:
    room.actor = Actor("o", "O", (Role.QA_MANAGER, Role.OPERATOR), operator_id="31")
    body = shown(room)
    assert "form-train" in body
    assert "form-observe" not in body
    for fields in (WATCHED, ALLOW):
        answer = keep(room, 0, **fields)
        assert (answer.status_code, "ACC-005" in answer.text) == (403, True)


def draw(room: Room, operator: str = "31"):
    return send(room.client, SAMPLES, what="draw", month=f"{LAST:%Y-%m}", operator=operator)


def test_sample_is_drawn_given_out_and_shown(room: Room) -> None:
    keep_account(room.store, READER)
    assert "form-draw" in shown(room, SAMPLES)
    assert draw(room).location == f"{SAMPLES}?sample={SAMPLE_ID}"
    again = draw(room)
    assert (again.status_code, "FUP-050" in again.text) == (422, True)
    where = f"{SAMPLES}?sample={SAMPLE_ID}"
    body = shown(room, where)
    assert "the same exams again" in body
    assert "Rosa (invented), Operator 32" in body
    assert ">Operator 31</option>" not in body, "the first operator is no second reader"
    sample = room.readings().sample(SAMPLE_ID)
    results = [one.first.words for one in sample.exams]
    assert not any(f">{words}" in body for words in results)
    code = sample.exams[0].code
    told = {"what": "assign", "sample": SAMPLE_ID, "codes": code, "reader": "rosa"}
    assert send(room.client, SAMPLES, **told, seen="1").status_code == 303
    late = send(room.client, SAMPLES, **told, seen="1")
    assert (late.status_code, "FUP-010" in late.text) == (422, True)
    readers = [one.reader for one in room.readings().sample(SAMPLE_ID).exams]
    assert readers == ["rosa", "", ""]
    room.readings(READER).tasks()
    room.actor = LEAD
    body = shown(room, where)
    assert "<form" not in body
    assert "Rosa (invented)" in body


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"what": "assign", "reader": "31", "seen": "1"}, "FUP-053"),
        ({"what": "assign", "reader": SCRIPT, "seen": "1"}, "FUP-091"),
        ({"what": "assign", "reader": "", "seen": "1"}, "FUP-091"),
        ({"what": "assign", "reader": "32", "codes": "forged", "seen": "1"}, "FUP-054"),
        ({"what": "pick", "exams": "forged", "reason": "asked for", "seen": "1"}, "FUP-052"),
        ({"what": "draw", "month": "soon", "operator": "31"}, "FUP-037"),
        ({"what": "draw", "month": f"{LAST:%Y-%m}", "operator": "nobody"}, "FUP-014"),
        ({"what": "dance"}, "FUP-038"),
    ],
)
def test_sample_forms_that_do_not_fit(room: Room, fields: dict, code: str) -> None:
    draw(room)
    answer = send(room.client, SAMPLES, sample=SAMPLE_ID, **fields)
    assert (answer.status_code, code in answer.text) == (422, True)
    assert "<script>alert" not in answer.text
    assert room.readings().sample(SAMPLE_ID).n_events == 1


def test_all_samples_of_a_month_are_drawn_once(room: Room) -> None:
    for _ in range(2):
        assert draw(room, "all").location == SAMPLES
    n = len(room.readings().samples())
    assert n == len(room.readings().to_draw(LAST, published=sample_published())) > 1
    assert f"{n} samples were drawn." in shown(room, SAMPLES)


@pytest.mark.parametrize("actor", [LEAD, OTHER, REVIEWER, READER, None])
def test_only_who_may_draws_or_gives_out(room: Room, actor: Actor | None) -> None:
    draw(room)
    room.actor = actor
    assert draw(room, "32").status_code in (403, 404)
    told = {"what": "assign", "sample": SAMPLE_ID, "reader": "32", "seen": "1"}
    assert send(room.client, SAMPLES, **told).status_code in (403, 404)
    room.actor = MANAGER
    assert [one.sample_id for one in room.readings().samples()] == [SAMPLE_ID]
    if actor in (OTHER, READER):
        room.actor = actor
        assert room.client.get(f"{SAMPLES}?sample={SAMPLE_ID}", **HOST).status_code == 404


def test_form_of_another_page_changes_nothing(room: Room) -> None:
    evil = {"Origin": "http://evil.example"}
    for where, what in ((FILE, FILE_ACTIONS), (SAMPLES, SAMPLE_ACTIONS)):
        for one in what:
            answer = send(room.client, where, evil, operator="31", what=one)
            assert answer.status_code == 403
    assert room.files().file("31").n_events == 0
    assert room.readings().samples() == []
