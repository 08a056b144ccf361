"""The section of questions on the Operators screen, and the page that releases one."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from dashboard.addresses import Page
from dashboard.app import create_app, render
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.opening import open_record
from qa.model.permissions import Actor
from qa.stores.followup.store import FollowupStore
from tests.followup.notes import AT, NETWORK_TEXT
from tests.followup.test_integrity_questions import ID, LEAD, MANAGER, REVIEWER, WORDS, published
from tests.pages.walk import text

OWN = {"Origin": "http://127.0.0.1:8050", "Sec-Fetch-Site": "same-origin"}
HOST = {"base_url": "http://127.0.0.1:8050"}
WHERE = f"/operators/release?question={ID}"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[FollowupStore]:
    (tmp_path / "network.toml").write_text(NETWORK_TEXT, encoding="utf-8")
    opened = open_record(tmp_path, environ={})
    yield opened
    opened.close()


def shown_to(store: FollowupStore, actor: Actor | None) -> str:
    desk = CaseDesk(store, actor, AT)
    return text(render(Page.OPERATORS, published, {}, make_desk=lambda: desk))


def test_manager_reads_releases_and_takes_back(store: FollowupStore) -> None:
    client = create_app(
        published, make_desk=lambda: CaseDesk(store, MANAGER, AT)
    ).server.test_client()
    assert WORDS in shown_to(store, MANAGER)
    assert "not released" in shown_to(store, MANAGER)
    assert WORDS in client.get(WHERE, **HOST).text
    sent = {"what": "release", "why": "", "question": ID}
    assert "this must not be empty" in client.post(WHERE, data=sent, headers=OWN, **HOST).text
    assert WORDS not in shown_to(store, LEAD)
    answer = client.post(WHERE, data={**sent, "why": "asked"}, headers=OWN, **HOST)
    assert answer.status_code == 303
    assert WORDS in shown_to(store, LEAD)
    assert "Release it" not in shown_to(store, LEAD)
    client.post(WHERE, data={**sent, "what": "take-back", "why": "done"}, headers=OWN, **HOST)
    assert WORDS not in shown_to(store, LEAD)


def test_others_see_no_section(store: FollowupStore) -> None:
    for actor in (LEAD, REVIEWER, None):
        assert "about the data" not in shown_to(store, actor)
    assert "about the data" not in text(render(Page.OPERATORS, published, {}))


def test_other_question_is_not_found_and_other_form_refused(store: FollowupStore) -> None:
    client = create_app(
        published, make_desk=lambda: CaseDesk(store, MANAGER, AT)
    ).server.test_client()
    assert client.get("/operators/release?question=INT-1", **HOST).status_code == 404
    assert client.post(WHERE, data={"what": "release", "why": "x"}, **HOST).status_code == 403
