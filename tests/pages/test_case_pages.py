"""The plain pages of Follow-up: what they show, what they take, and what they refuse."""

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from flask import Flask
from flask.testing import FlaskClient

from dashboard.addresses import Page
from dashboard.app import create_app, render
from dashboard.case_actions import ACTIONS
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.opening import open_record
from qa.jobs.followup.trail import verify_trail
from qa.model.permissions import Actor, Role
from qa.stores.followup.store import FollowupStore
from tests.followup.notes import AT, MANAGER, NETWORK_TEXT, REVIEWER, keep_account
from tests.pages.sample_published import sample_published
from tests.pages.walk import addresses, text

OWN = {"Origin": "http://127.0.0.1:8050", "Sec-Fetch-Site": "same-origin"}
HOST = {"base_url": "http://127.0.0.1:8050"}
LEAD = Actor("lena", "Lena (invented)", (Role.SITE_LEAD,), sites=("S3",))
OTHER = Actor("otto", "Otto (invented)", (Role.SITE_LEAD,), sites=("S1",))


class Who:
    """Who sends the next request."""

    actor: Actor | None = MANAGER


@pytest.fixture
def store(tmp_path: Path) -> Iterator[FollowupStore]:
    (tmp_path / "network.toml").write_text(NETWORK_TEXT, encoding="utf-8")
    opened = open_record(tmp_path, environ={})
    yield opened
    opened.close()


@pytest.fixture
def who() -> Who:
    return Who()


@pytest.fixture
def client(store: FollowupStore, who: Who) -> FlaskClient:
    app = create_app(sample_published, make_desk=lambda: CaseDesk(store, who.actor, AT))
    server: Flask = app.server
    return server.test_client()


def send(client: FlaskClient, where: str, headers: dict | None = None, **fields: object):
    return client.post(where, data=fields, headers=OWN if headers is None else headers, **HOST)


def open_one(client: FlaskClient) -> None:
    told = {"title": "Spread <b>at</b> S3", "owner": "lena", "due_on": "2026-11-18"}
    answer = send(client, "/follow-up/open", item="SIG-S3", why="", **told)
    assert (answer.status_code, answer.location) == (303, "/follow-up/case?case=CASE-0001")


def page(client: FlaskClient, case_id: str = "CASE-0001") -> tuple[int, str]:
    answer = client.get(f"/follow-up/case?case={case_id}", **HOST)
    return answer.status_code, answer.text


def test_case_is_opened_from_an_item_and_shown(client: FlaskClient) -> None:
    shown = client.get("/follow-up/open?item=SIG-S3", **HOST)
    assert "What is to be followed up?" in shown.text
    open_one(client)
    status, body = page(client)
    assert status == 200
    assert "CASE-0001, spread &lt;b&gt;at&lt;/b&gt; S3: open." in body
    assert "<b>at</b>" not in body
    assert 'value="list-exams"' in body
    assert 'value="close"' not in body


def test_forms_lead_from_step_to_step(client: FlaskClient, store: FollowupStore) -> None:
    open_one(client)
    desk = CaseDesk(store, MANAGER, AT)
    send(client, "/follow-up/case", what="list-exams", case="CASE-0001", seen="1")
    keys = [exam.exam_key for exam in desk.case("CASE-0001").exams]
    assert all(key in page(client)[1] for key in keys)
    decided = {"decision": "to be repeated", "words": "", "exam": keys}
    send(client, "/follow-up/case", what="decide-exams", case="CASE-0001", seen="2", **decided)
    send(client, "/follow-up/case", what="contain", case="CASE-0001", seen="3", words="Looked at")
    cause = {"category": "technique of the exam", "method": "looked at single exams"}
    cause |= {"words": "Breath", "seen": "4"}
    send(client, "/follow-up/case", what="cause", case="CASE-0001", **cause)
    plan = {"kind": "retraining", "step": "probe choice", "words": "Half a day", "owner": "lena"}
    plan |= {"due_on": "2026-11-20", "threshold": "12", "n_months": "3", "min_n": "50"}
    plan |= {"check_on": "2027-03-01", "measure_id": "MSR-001", "seen": "5"}
    send(client, "/follow-up/case", what="plan", case="CASE-0001", **plan)
    done = {"done_on": "2026-11-04", "words": "Done", "seen": "6"}
    send(client, "/follow-up/case", what="done", case="CASE-0001", **done)
    case = desk.case("CASE-0001")
    assert (case.step, case.n_events) == ("action done", 7)
    assert "December 2026" in page(client)[1]
    listed = text(render(Page.FOLLOWUP, sample_published, {}, make_desk=lambda: desk))
    assert "MSR-001 at most 12.0 % in each of 3 months, from 2027-03-01" in listed
    assert "checked from 2027-03-01 on" in listed
    assert "1 case is open, none is overdue. No action was checked yet." in listed
    assert "By state: 1 action done." in listed
    assert verify_trail(store).is_whole


def test_refused_form_comes_back_as_it_was_filled_in(client: FlaskClient) -> None:
    open_one(client)
    send(client, "/follow-up/case", what="assign", case="CASE-0001", seen="1", owner="ben",
         due_on="2026-12-01")  # fmt: skip
    answer = send(client, "/follow-up/case", what="contain", case="CASE-0001", seen="1",
                  words="Looked at <i>twice</i>")  # fmt: skip
    assert answer.status_code == 422
    assert "somebody else changed it since you opened it" in answer.text
    assert "Owner: ben" in answer.text
    assert "Looked at &lt;i&gt;twice&lt;/i&gt;</textarea>" in answer.text


@pytest.mark.parametrize("actor", [OTHER, REVIEWER, None])
@pytest.mark.parametrize("what", sorted(ACTIONS))
def test_who_may_not_decides_nothing(
    client: FlaskClient, store: FollowupStore, who: Who, what: str, actor: Actor | None
) -> None:
    open_one(client)
    before = CaseDesk(store, MANAGER, AT).case("CASE-0001")
    who.actor = actor
    days = dict.fromkeys(("due_on", "done_on", "check_on"), "2026-12-01")
    numbers = dict.fromkeys(("threshold", "n_months", "min_n"), "3")
    answer = send(client, "/follow-up/case", what=what, case="CASE-0001", **days, **numbers)
    assert answer.status_code in (403, 404)
    assert CaseDesk(store, MANAGER, AT).case("CASE-0001") == before


def test_reader_sees_no_form_and_other_sites_see_no_case(client: FlaskClient, who: Who) -> None:
    open_one(client)
    who.actor = REVIEWER
    assert "<form" not in page(client)[1]
    who.actor = LEAD
    assert 'value="comment"' in page(client)[1]
    who.actor = OTHER
    forged = page(client, "CASE-7777")[1].replace("CASE-7777", "CASE-0001")
    assert page(client) == (404, forged)
    who.actor = None
    assert page(client)[0] == 403


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Origin": "http://evil.example"},
        {"Origin": "http://127.0.0.1:8050", "Sec-Fetch-Site": "cross-site"},
        {"Origin": "null"},
    ],
)
def test_form_of_another_page_changes_nothing(
    client: FlaskClient, store: FollowupStore, headers: dict
) -> None:
    open_one(client)
    answer = send(client, "/follow-up/case", headers, what="comment", case="CASE-0001", words="x")
    assert answer.status_code == 403
    assert CaseDesk(store, MANAGER, AT).case("CASE-0001").comments == ()


@pytest.mark.parametrize(
    "fields",
    [
        {"what": "rm -rf", "case": "CASE-0001"},
        {"what": "assign", "case": "CASE-0001", "owner": "x", "due_on": "tomorrow"},
        {"what": "contain", "case": "CASE-0001", "words": "x", "seen": "-1"},
        {"what": "plan", "case": "CASE-0001", "due_on": "2026-12-01", "threshold": "much"},
        {"what": "plan", "case": "CASE-0001", "due_on": "2026-12-01", "threshold": "inf"},
        {"what": "decide-exams", "case": "CASE-0001", "exam": "forged"},
    ],
)
def test_odd_fields_are_refused_in_words(client: FlaskClient, fields: dict) -> None:
    open_one(client)
    send(client, "/follow-up/case", what="assign", case="CASE-0001", seen="1", owner="ben",
         due_on="2026-12-01")  # fmt: skip
    answer = send(client, "/follow-up/case", **fields)
    assert answer.status_code == 422
    assert "FUP-0" in answer.text


def test_another_host_gets_nothing(client: FlaskClient) -> None:
    answer = client.get("/follow-up/case?case=CASE-0001", base_url="http://evil.example")
    assert answer.status_code == 403


def test_list_names_what_is_due(client: FlaskClient, store: FollowupStore) -> None:
    open_one(client)
    late = AT.replace(day=30)
    shown = render(
        Page.FOLLOWUP,
        sample_published,
        {},
        make_desk=lambda: CaseDesk(store, MANAGER, late),
    )
    assert "1 case is open, 1 overdue, CASE-0001 first of all" in text(shown)
    assert "overdue since 2026-11-18" in text(shown)
    assert f"overdue since {date(2026, 11, 18)}" in text(shown)
    assert "Decisions are not kept here." in text(render(Page.FOLLOWUP, sample_published, {}))


def test_month_leads_to_the_decision_and_back(client: FlaskClient, store: FollowupStore) -> None:
    def month(day: int) -> str:
        at = AT.replace(day=day)
        desk = CaseDesk(store, MANAGER, at)
        return text(render(Page.MONTH, sample_published, {}, make_desk=lambda: desk))

    assert "Leave it on the list" in month(4)
    open_one(client)
    assert "CASE-0001: open." in month(4)
    assert "overdue" not in month(18)
    assert "1 follow-up overdue" in month(19)


def test_item_is_not_pursued_with_a_reason(client: FlaskClient, store: FollowupStore) -> None:
    answer = send(client, "/follow-up/open", what="dismiss", item="SIG-31", why=" ")
    assert (answer.status_code, "FUP-011" in answer.text) == (422, True)
    answer = send(
        client, "/follow-up/open", what="dismiss", item="SIG-31", why="a new <b>probe</b>"
    )
    assert (answer.status_code, answer.location) == (303, "/follow-up")
    desk = CaseDesk(store, MANAGER, AT)
    shown = text(render(Page.MONTH, sample_published, {}, make_desk=lambda: desk))
    assert "Reviewed and not pursued: a new <b>probe</b> (maria, 2026-11-04)." in shown


def test_signal_not_pursued_is_listed_with_its_reason_and_taken_up_again(
    client: FlaskClient, store: FollowupStore, who: Who
) -> None:
    keep_account(store, MANAGER)
    told = {"what": "dismiss", "item": "SIG-S3", "why": "A <b>probe</b> was tried"}
    assert send(client, "/follow-up/open", **told).status_code == 303
    shown = render(Page.FOLLOWUP, sample_published, {}, make_desk=lambda: desk(store, MANAGER))
    assert "A <b>probe</b> was tried" in text(shown)
    assert "Maria (invented), 2026-11-04" in text(shown)
    (undo,) = [one for one in addresses(shown) if "/follow-up/review" in one]
    body = client.get(undo, **HOST).text
    assert "Not pursued by Maria (invented), 2026-11-04: A &lt;b&gt;probe&lt;/b&gt;" in body
    seen = render(Page.FOLLOWUP, sample_published, {}, make_desk=lambda: desk(store, LEAD))
    assert "was tried" in text(seen)
    assert not [one for one in addresses(seen) if "/follow-up/review" in one]
    again = {"what": "take-up", "item": parse_qs(urlsplit(undo).query)["item"][0]}
    for actor, status in ((LEAD, 403), (REVIEWER, 403), (None, 403)):
        who.actor = actor
        assert send(client, "/follow-up/review", **again, why="x").status_code == status
    who.actor = MANAGER
    assert send(client, "/follow-up/review", **again, why=" ").status_code == 422
    assert send(client, "/follow-up/review", **again, why="It came back").status_code == 303
    assert [one.is_dismissed for one in desk(store, MANAGER).reviews()] == [False]
    assert client.get(undo, **HOST).status_code == 404
    assert verify_trail(store).is_whole


def desk(store: FollowupStore, actor: Actor | None) -> CaseDesk:
    return CaseDesk(store, actor, AT)
