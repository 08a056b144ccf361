"""Script in every text field of every plain form, found on the pages themselves; a closed case.

Source: OWASP, Cross Site Scripting Prevention: whatever people write is text wherever it is shown.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from dashboard.addresses import Form, Page
from dashboard.app import create_app, render
from dashboard.case_actions import ACTIONS
from qa.followup.case_events import CASE
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.opening import change_record, open_record
from qa.jobs.followup.trail import verify_trail
from qa.stores.followup.store import FollowupStore
from tests.followup.case_steps import STEPS
from tests.followup.notes import AT, MANAGER, NETWORK_TEXT
from tests.followup.sample_archive import sample_archive
from tests.pages.sample_published import sample_published
from tests.pages.test_case_pages import HOST, send
from tests.pages.walk import components

SCRIPT = "<script>alert('x')</script>"
ESCAPED = "&lt;script&gt;"
QUERY = {
    Form.CASE: "case=CASE-0001",
    Form.OPEN_CASE: "item=SIG-S3",
    Form.NOTE: "kind=site&unit=S3",
    Form.OPERATOR_FILE: "operator=31",
    Form.SAMPLES: "sample=31.2026-10",
}
WITHOUT_DESK = (Form.TRY,)
"""tests/pages/test_try_file.py."""


@dataclass
class Sent:
    """One form of a page, filled in: script where text belongs, something plausible elsewhere."""

    action: str = ""
    is_search: bool = False
    fields: dict[str, str] = field(default_factory=dict)
    n_texts: int = 0


class Forms(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[Sent] = []
        self._select = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = {key: value or "" for key, value in attrs}
        name, kind = told.get("name", ""), told.get("type", "text")
        if tag == "form":
            is_search = told.get("method", "get") == "get"
            self.found.append(Sent(told["action"], is_search))
        elif self.found and name and tag in ("input", "textarea"):
            is_text = tag == "textarea" or kind == "text"
            self.found[-1].n_texts += is_text
            plain = {"date": "2026-11-02", "number": "3"}.get(kind, told.get("value", ""))
            self.found[-1].fields[name] = SCRIPT if is_text else plain
        elif self.found and tag == "button":
            self.found[-1].fields["what"] = told.get("value", "")
        elif tag == "select":
            self._select = name
        elif tag == "option" and self._select and self.found:
            self.found[-1].fields[self._select] = told.get("value", "")


def forms_of_page(html: str) -> list[Sent]:
    parser = Forms()
    parser.feed(html)
    return parser.found


@pytest.fixture
def store(tmp_path: Path) -> Iterator[FollowupStore]:
    (tmp_path / "network.toml").write_text(NETWORK_TEXT, encoding="utf-8")
    opened = open_record(tmp_path, environ={})
    yield opened
    opened.close()


def desk(store: FollowupStore) -> CaseDesk:
    return CaseDesk(store, MANAGER, AT, sample_archive())


@pytest.fixture
def client(store: FollowupStore) -> FlaskClient:
    return create_app(sample_published, make_desk=lambda: desk(store)).server.test_client()


def pages() -> list[str]:
    found = [one for one in Form if one not in WITHOUT_DESK]
    return [f"{one.value}?{QUERY[one]}" if one in QUERY else one.value for one in found]


def test_script_in_every_text_field_of_every_form_is_shown_as_text(
    client: FlaskClient, store: FollowupStore
) -> None:
    send(client, Form.SAMPLES, what="draw", month="2026-10", operator="31")
    told = {"title": SCRIPT, "why": SCRIPT, "owner": SCRIPT, "due_on": "2026-12-01"}
    assert send(client, Form.OPEN_CASE, what="open", **told).status_code == 303
    n_texts = n_taken = 0
    for _ in range(2):
        for where in pages():
            for form in forms_of_page(client.get(where, **HOST).text):
                if form.is_search:
                    answer = client.get(form.action, query_string=form.fields, **HOST)
                else:
                    answer = send(client, form.action, **form.fields)
                assert answer.status_code in (200, 303, 404, 422), (where, form.fields)
                assert SCRIPT not in answer.text
                n_texts += form.n_texts
                n_taken += answer.status_code == 303
    assert n_texts > 40
    assert n_taken > 10
    shown = [client.get(where, **HOST).text for where in pages()]
    assert not any(SCRIPT in one or "<script>alert" in one for one in shown)
    assert sum(one.count(ESCAPED) for one in shown) > 20
    assert verify_trail(store).is_whole


def test_screens_hold_what_people_wrote_as_text_and_not_as_markup(
    client: FlaskClient, store: FollowupStore
) -> None:
    """A screen is made of components; only raw markup components would run what they are given."""
    told = {"title": SCRIPT, "why": SCRIPT, "owner": SCRIPT, "due_on": "2026-12-01"}
    assert send(client, Form.OPEN_CASE, what="open", **told).status_code == 303
    for page in Page:
        layout = render(page, sample_published, {"site": "S3"}, make_desk=lambda: desk(store))
        kinds = {type(one).__name__ for one in components(layout)}
        assert not kinds & {"Markdown", "Iframe", "Script", "Embed", "ObjectEl"}, page


def close(store: FollowupStore) -> None:
    steps = ("open", "contain", "cause", "plan", "done", "check effective", "close")
    with store.writing() as writing:
        for name in steps:
            change_record(writing, CASE, "CASE-0001", STEPS[name], by="maria", at=AT)


def test_closed_case_takes_nothing_but_being_reopened(
    client: FlaskClient, store: FollowupStore
) -> None:
    close(store)
    before = desk(store).case("CASE-0001")
    assert before.is_closed
    days = dict.fromkeys(("due_on", "done_on", "check_on"), "2026-12-01")
    numbers = dict.fromkeys(("threshold", "n_months", "min_n"), "3")
    words = {"category": "technique of the exam", "method": "watched exams being done"}
    words |= {"words": "later", "why": "later", "owner": "later", "kind": "retraining"}
    words |= {"step": "probe choice", "measure_id": "MSR-001", "decision": "to be repeated"}
    for what in sorted(set(ACTIONS) - {"reopen"}):
        fields = {**days, **numbers, **words, "seen": str(before.n_events)}
        answer = send(client, Form.CASE, what=what, case="CASE-0001", **fields)
        assert (answer.status_code, "FUP-0" in answer.text) == (422, True), what
        assert desk(store).case("CASE-0001") == before, what
    stale = send(client, Form.CASE, what="reopen", case="CASE-0001", why="x", seen="3")
    assert (stale.status_code, "FUP-010" in stale.text) == (422, True)
    seen = str(before.n_events)
    again = send(client, Form.CASE, what="reopen", case="CASE-0001", why="It came back", seen=seen)
    assert again.status_code == 303
    assert desk(store).case("CASE-0001").step == "reopened"
