"""Record: what it answers, where its evidence leads, and what its forms take and refuse."""

from datetime import UTC, date, datetime

import pytest
import sqlalchemy as sa
from flask.testing import FlaskClient

from dashboard.addresses import Page
from dashboard.app import create_app, render
from dashboard.pages.record import months_around
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.documents import DocumentDesk
from qa.jobs.followup.record_desk import RecordDesk
from qa.model.permissions import Actor, Role
from qa.stores.followup.store import FollowupStore
from tests.followup.notes import ADMINISTRATOR, MANAGER, OPERATOR, REVIEWER
from tests.followup.sample_archive import sample_archive
from tests.followup.test_documents import SECOND, criteria
from tests.followup.test_record_desk import decide_everything
from tests.pages import test_case_pages
from tests.pages.sample_published import sample_published
from tests.pages.test_case_pages import HOST, LEAD, OTHER, Who, send
from tests.pages.walk import addresses, element, text

store, who = test_case_pages.store, test_case_pages.who
EARLY = datetime(2026, 11, 20, 9, tzinfo=UTC)
AT = datetime(2026, 12, 4, 9, tzinfo=UTC)
SITE = {"site": "S3", "month": "2026-10"}


@pytest.fixture
def show(store: FollowupStore):
    def shown(actor: Actor | None = MANAGER, *, archive=True, **query: str):
        kept = sample_archive() if archive else None
        desk = CaseDesk(store, actor, AT, kept)
        return render(Page.RECORD, sample_published, query, make_desk=lambda: desk)

    return shown


@pytest.fixture
def client(store: FollowupStore, who: Who) -> FlaskClient:
    app = create_app(
        sample_published, make_desk=lambda: CaseDesk(store, who.actor, AT, sample_archive())
    )
    return app.server.test_client()


def test_answer_counts_what_was_met(store: FollowupStore, show) -> None:
    decide_everything(store, at=EARLY)
    page = show(**SITE)
    said = text(element(page, "answer"))
    desk = RecordDesk(store, sample_archive(), MANAGER, AT)
    answers = [str(one.answer) for one in desk.verdicts("S3", [date(2026, 10, 1)])]
    n_met = answers.count("met")
    assert f"{len(answers)} requirements" in said
    assert said.startswith(f"{sample_published().network.site('S3').name} met ")
    assert text(element(page, "requirements-and-months").children or "") == (
        "Requirements and months"
    )
    shown = text(page)
    assert shown.count("Devices are serviced") >= 2
    assert n_met >= 3


def test_one_mark_leads_to_evidence_and_the_rule_then(store, show) -> None:
    decide_everything(store, at=EARLY)
    cell = next(one for one in addresses(show(**SITE)) if "requirement=REQ-008" in one)
    assert "month=2026-10" in cell
    page = show(**SITE, requirement="REQ-008")
    assert "Rule in force then" in text(page)
    assert "REQ-008.v1, fingerprint " in text(page)
    assert "/follow-up/case?case=CASE-0001" in addresses(page)


def test_what_came_later_shows_only_as_known_now(store, show) -> None:
    decide_everything(store, at=AT)
    then, now = text(show(**SITE)), text(show(**SITE, known="now"))
    assert "What was recorded later is not looked at." in then
    assert "Phantoms read within 2 %" not in then
    assert "Phantoms read within 2 %" in now
    assert "As known now" in now


def test_without_a_record_or_a_site_it_says_so(show) -> None:
    assert "There is no record to show." in text(show(archive=False))
    assert "There is no record to show." in text(show(OPERATOR))
    assert "There is no record to show." in text(show(ADMINISTRATOR))
    name = sample_published().network.site("S3").name
    assert text(element(show(LEAD), "answer")).startswith(name)


def test_document_is_approved_read_and_ended_by_forms(
    store,
    client: FlaskClient,
    who: Who,
) -> None:
    DocumentDesk(store, MANAGER, AT).propose(criteria(), from_day=date(2026, 1, 1), changes="x")
    where = f"/record/document?document={criteria().document_id}"
    own = client.get(where, **HOST)
    assert own.status_code == 200
    assert 'value="approve"' not in own.text
    seen = {"document": criteria().document_id, "seen": "1", "words": ""}
    who.actor = REVIEWER
    assert '<button name="what"' not in client.get(where, **HOST).text
    finger = DocumentDesk(store, MANAGER, AT).document(criteria().document_id).fingerprint
    approve = {**seen, "what": "approve", "fingerprint": finger}
    assert send(client, "/record/document", **approve).status_code == 403
    who.actor = SECOND
    assert 'value="approve"' in client.get(where, **HOST).text
    assert send(client, "/record/document", **{**approve, "fingerprint": "0"}).status_code == 422
    assert send(client, "/record/document", **approve).status_code == 303
    who.actor = LEAD
    assert send(client, "/record/document", **seen, what="read").status_code == 303
    assert "lena" in client.get(where, **HOST).text
    who.actor = SECOND
    end = {**seen, "what": "end", "why": "x", "on": "no day"}
    assert "[FUP-037]" in send(client, "/record/document", **end).text
    assert client.get("/record/document?document=nothing", **HOST).status_code == 404


def test_sign_takes_a_statement_and_shows_what_it_refuses(client, who: Who) -> None:
    who.actor = LEAD
    where = "/record/sign?site=S3&requirement=REQ-016"
    assert "Devices are serviced" in client.get(where, **HOST).text
    told = {
        "site": "S3", "requirement": "REQ-016", "what": "sign", "answer": "met",
        "words": "Phantoms read <b>within</b> 2 %", "from_month": "2026-10",
    }  # fmt: skip
    refused = send(client, "/record/sign", **told, until="")
    assert refused.status_code == 422
    assert "Phantoms read &lt;b&gt;within" in refused.text
    taken = send(client, "/record/sign", **told, until="2026-12-31")
    assert taken.status_code == 303
    for actor, status in ((OTHER, 403), (REVIEWER, 403), (None, 403)):
        who.actor = actor
        assert client.get(where, **HOST).status_code == status
        assert send(client, "/record/sign", **told, until="2026-12-31").status_code == status


@pytest.mark.parametrize("role", [Role.REVIEWER, Role.SITE_LEAD])
def test_csv_holds_each_requirement_and_month_on_screen(client, who: Who, role) -> None:
    who.actor = REVIEWER if role == Role.REVIEWER else LEAD
    rows = client.get("/export/record.csv?site=S3&month=2026-10", **HOST).text.splitlines()
    assert rows[0].startswith("site_id,month,requirement,version,title,clause,clause_mark,answer")
    assert sum(row.startswith("S3,2026-10,REQ-") for row in rows) == 22


def test_statement_is_shown_withdrawn_with_a_reason_and_kept(store, client, who: Who) -> None:
    decide_everything(store, at=EARLY)
    where = "/record/statement?statement=SIGN-0001"
    for actor, status in ((OTHER, 404), (REVIEWER, 200), (LEAD, 200)):
        who.actor = actor
        shown = client.get(where, **HOST)
        assert shown.status_code == status
        assert ('value="withdraw"' in shown.text) == (actor is LEAD)
    fields = {"statement": "SIGN-0001", "what": "withdraw"}
    assert send(client, "/record/statement", **fields, why=" ").status_code == 422
    who.actor = REVIEWER
    assert send(client, "/record/statement", **fields, why="x").status_code == 403
    who.actor = LEAD
    assert send(client, "/record/statement", **fields, why="Read wrongly").status_code == 303
    shown = client.get(where, **HOST).text
    assert "It was withdrawn." in shown
    assert "Read wrongly" in shown
    assert 'value="withdraw"' not in shown


def test_trail_shows_the_lines_that_are_asked_for(store, client, who: Who) -> None:
    decide_everything(store, at=EARLY)
    who.actor = REVIEWER
    whole = client.get("/record/trail", **HOST)
    assert whole.status_code == 200
    assert "The trail is whole: 5 lines" in whole.text
    some = client.get("/record/trail?class=statement&since=2026-11-20&until=2026-11-20", **HOST)
    assert "Shown: 1 line that fit" in some.text
    assert "SIGN-0001" in some.text
    assert "No line fits." in client.get("/record/trail?until=2026-11-19", **HOST).text
    bad = client.get("/record/trail?since=yesterday", **HOST)
    assert (bad.status_code, "[FUP-037]" in bad.text) == (422, True)
    script = client.get("/record/trail?by=<script>", **HOST).text
    assert "<script>" not in script.split("</head>")[1]
    who.actor = LEAD
    assert client.get("/record/trail", **HOST).status_code == 403


def alter(opened: FollowupStore) -> None:
    with opened._engine.begin() as connection:
        connection.execute(sa.text("DROP TRIGGER trail_keeps_content"))
        connection.execute(sa.text("UPDATE trail SET recorded_by = 'x' WHERE entry_no = 2"))


def test_altered_line_shows_on_record_and_trail(store, client, who: Who, show) -> None:
    decide_everything(store, at=EARLY)
    alter(store)
    shown = text(show(REVIEWER, **SITE))
    assert "The trail is not whole" in shown
    assert "Row 2 was altered" in shown
    who.actor = REVIEWER
    assert "Row 2 was altered" in client.get("/record/trail", **HOST).text


def test_months_on_show_hold_the_chosen_one_and_some_after(show) -> None:
    months = [date(2024 + (n // 12), n % 12 + 1, 1) for n in range(24)]
    for chosen, first, last in (
        (months[0], months[0], months[3]),
        (months[13], months[5], months[16]),
        (months[-1], months[12], months[-1]),
    ):
        shown = months_around(months, chosen)
        assert (shown[0], shown[-1]) == (first, last)
    page = show(**SITE)
    assert any("month=2026-09&site=S3" in one for one in addresses(page))


def test_who_may_not_see_the_trail_is_not_led_there(store, show) -> None:
    decide_everything(store, at=EARLY)
    for actor, leads in ((LEAD, False), (REVIEWER, True)):
        page = show(actor, **SITE, requirement="REQ-014")
        assert ("/record/trail" in addresses(page)) == leads
