"""What was complied with, as known then: later facts never change it. And signing."""

import json
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa.cli import main
from qa.followup.decide_document import Draft
from qa.followup.facts import PackFact, due_at
from qa.followup.statements import STATEMENT
from qa.followup.trail import TrailCheck, canonical
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.documents import DocumentDesk
from qa.jobs.followup.record_desk import RecordDesk
from qa.jobs.followup.recorded import CLASSES, Recorded
from qa.model.errors import AccessRefused, FollowupError
from qa.model.permissions import Actor, Role
from qa.model.record import Event, time_text
from qa.stores.definitions import read_definition_texts
from qa.stores.publishing import publish_snapshot
from tests.followup.notes import ADMINISTRATOR, MANAGER, NETWORK_TEXT, OPERATOR, REVIEWER
from tests.followup.sample_archive import sample_archive
from tests.followup.test_documents import SECOND, criteria
from tests.pages.sample_published import sample_published

MONTH = date(2026, 10, 1)
SITE = "S3"
DUE = due_at(MONTH)
LATER = datetime(2027, 3, 1, 9, tzinfo=UTC)
LEAD = Actor("lena", "Lena (invented)", (Role.SITE_LEAD,), sites=(SITE,))
SIGNED = {"is_met": True, "words": "Phantoms read within 2 %.", "from_month": MONTH}


def desk(store, actor=MANAGER, *, at=LATER, archive=None) -> RecordDesk:
    return RecordDesk(store, archive or sample_archive(), actor, at)


def told(store, *, at=LATER, is_then=True, archive=None) -> dict[str, tuple[str, str, tuple]]:
    """Requirement → answer, sentence, evidence without the time at which the trail was walked."""
    found = desk(store, REVIEWER, at=at, archive=archive).verdicts(SITE, [MONTH], is_then=is_then)
    return {
        one.requirement.id: (
            str(one.answer),
            one.found.sentence,
            tuple(item.words for item in one.found.evidence if item.kind != "trail"),
        )
        for one in found
    }


def decide_everything(store, *, at: datetime) -> None:
    """One decision of each kind that verdicts look at."""
    text = Draft(**{**vars(criteria()), "version": 2})  # The sample is judged by a version 2.
    DocumentDesk(store, MANAGER, at).propose(text, from_day=date(2020, 1, 1), changes="x")
    DocumentDesk(store, SECOND, at).approve(text.document_id)
    DocumentDesk(store, LEAD, at).confirm_reading(text.document_id)
    cases = CaseDesk(store, MANAGER, at)
    cases.open(
        title="Spread", owner="lena", due_on=at.date(), item_ids=["SIG-S3"],
        published=sample_published(),
    )  # fmt: skip
    desk(store, LEAD, at=at).sign("REQ-016", site_id=SITE, until=date(2026, 12, 31), **SIGNED)


def test_verdicts_as_known_then_never_change_by_later_events(store) -> None:
    decide_everything(store, at=datetime(2026, 11, 20, 9, tzinfo=UTC))
    then = told(store, at=DUE + timedelta(days=1))
    assert then["REQ-016"][0] == "met"
    one = desk(store, LEAD).statements()[0]
    desk(store, LEAD, at=LATER - timedelta(days=2)).withdraw(one.statement_id, why="Read wrongly")
    DocumentDesk(store, SECOND, LATER).end("common-practice.v2", on=date(2026, 1, 1), why="x")
    CaseDesk(store, MANAGER, LATER).open(
        title="More", owner="lena", due_on=date(2026, 11, 1), why="seen", site_id=SITE
    )
    assert told(store) == then
    now = told(store, is_then=False, at=LATER + timedelta(days=9))
    assert now["REQ-016"][:2] == ("no evidence", "Nobody has signed for it.")
    assert now["REQ-009"][0] == "not met"


def test_what_was_decided_a_moment_too_late_does_not_count_then(store) -> None:
    decide_everything(store, at=DUE)
    then, now = told(store), told(store, is_then=False)
    for requirement_id in ("REQ-008", "REQ-011", "REQ-012", "REQ-016"):
        assert then[requirement_id][0] != "met"
    assert [now[one][0] for one in ("REQ-011", "REQ-012", "REQ-016")] == ["met"] * 3


def test_decided_in_the_last_moment_counts_then(store) -> None:
    decide_everything(store, at=DUE - timedelta(microseconds=1))
    then = told(store)
    assert [then[one][0] for one in ("REQ-011", "REQ-012", "REQ-016")] == ["met"] * 3


def test_snapshot_in_force_then_is_read_and_the_first_one_before_any(store) -> None:
    times = [datetime(2026, 11, day, tzinfo=UTC) for day in (4, 20)]
    archive = sample_archive(
        *times, DUE, issued=[PackFact(1, "S", times[1]), PackFact(2, "S", DUE)]
    )
    it = desk(store, archive=archive)
    assert it.moment(MONTH, is_then=True)[1].startswith("S20261120")
    assert it.moment(MONTH, is_then=False)[1].startswith("S20261201")
    assert it.moment(date(2026, 1, 1), is_then=True) == (times[0], "S20261104T000000Z-sample00")
    assert told(store, archive=archive)["REQ-013"][1].startswith("Issue 1,")
    assert told(store, archive=archive, is_then=False)["REQ-013"][1].startswith("Issue 2,")


def test_what_never_came_is_missed_once_it_was_due(store) -> None:
    """As known then is as known at the last moment, at which nothing can come any more."""
    before, after = told(store, at=DUE - timedelta(days=1)), told(store, at=DUE)
    assert before["REQ-013"][0] == "no evidence"
    assert after["REQ-013"][:2] == ("not met", "No pack of this month had been issued.")


def test_trail_counts_the_lines_up_to_the_moment(store) -> None:
    decide_everything(store, at=datetime(2026, 11, 20, 9, tzinfo=UTC))
    assert told(store)["REQ-014"][:2] == (
        "met",
        "5 lines up to then, none altered, removed or moved.",
    )
    assert told(store, at=datetime(2026, 11, 19, tzinfo=UTC))["REQ-014"][0] == "no evidence"


@pytest.mark.parametrize("actor", [None, OPERATOR, ADMINISTRATOR])
def test_who_may_not_see_is_refused(store, actor) -> None:
    with pytest.raises(AccessRefused):
        desk(store, actor).verdicts(SITE, [MONTH])


def test_lead_of_another_site_sees_and_signs_nothing_here(store) -> None:
    other = Actor("otto", "Otto", (Role.SITE_LEAD,), sites=("S1",))
    with pytest.raises(AccessRefused):
        desk(store, other).verdicts(SITE, [MONTH])
    with pytest.raises(AccessRefused):
        desk(store, other).sign("REQ-016", site_id=SITE, until=date(2026, 12, 31), **SIGNED)
    one = desk(store, LEAD).sign("REQ-016", site_id=SITE, until=date(2026, 12, 31), **SIGNED)
    with pytest.raises(FollowupError, match="FUP-014"):
        desk(store, other).withdraw(one.statement_id, why="x")
    assert desk(store, other).statements() == []


@pytest.mark.parametrize(
    ("requirement_id", "from_month", "until", "code"),
    [
        ("REQ-001", MONTH, date(2026, 12, 31), "FUP-080"),
        ("REQ-016", MONTH, date(2026, 10, 30), "FUP-081"),
        ("REQ-016", MONTH, date(2028, 10, 1), "FUP-081"),
        ("REQ-016", date(2027, 4, 1), date(2027, 5, 1), "FUP-081"),
        ("REQ-999", MONTH, date(2026, 12, 31), "FUP-082"),
    ],
)
def test_sign_refuses_what_data_decide_and_odd_times(
    store, requirement_id, from_month, until, code
) -> None:
    with pytest.raises(FollowupError, match=code):
        desk(store).sign(
            requirement_id, site_id=SITE, is_met=True, words="x", from_month=from_month, until=until
        )


def signed_event(number: int, at: datetime, *, is_met: bool) -> Event:
    data = {
        "requirement_id": "REQ-016", "site_id": SITE, "is_met": is_met, "words": "x",
        "from_month": "2026-10-01", "until": "2026-12-31",
    }  # fmt: skip
    return Event("statement", f"SIGN-{number}", 1, "signed", canonical(data), time_text(at), "lena")


@settings(max_examples=50, deadline=None)
@given(
    offsets=st.lists(st.tuples(st.integers(-90, 90), st.booleans()), max_size=8),
    more=st.lists(st.tuples(st.integers(1, 900), st.booleans()), max_size=8),
)
def test_facts_at_a_moment_are_those_of_the_events_up_to_it(offsets, more) -> None:
    """Whatever was recorded later, in whatever order it lies in the store."""
    early = [
        signed_event(k, DUE + timedelta(hours=hours), is_met=yes)
        for k, (hours, yes) in enumerate(offsets)
        if hours <= 0
    ]
    late = [
        signed_event(100 + k, DUE + timedelta(seconds=seconds), is_met=yes)
        for k, (seconds, yes) in enumerate(more)
    ]
    assert statements_at(late + early) == statements_at(early)


def statements_at(events: list[Event]) -> tuple:
    kinds: dict[str, list[Event]] = {kind.name: [] for kind in CLASSES}
    recorded = Recorded({**kinds, STATEMENT.name: events}, TrailCheck(), [], LATER)
    return recorded.facts_at(DUE, site_id=SITE, month=MONTH, snapshot=None).statements


@pytest.fixture
def published_small(tmp_path):
    """A folder whose snapshot has the sample's frames, with the site S3."""
    text = NETWORK_TEXT.replace('"north"', '"S3"')
    (tmp_path / "network.toml").write_text(text, encoding="utf-8")
    publish_snapshot(
        tmp_path / "snapshots",
        frames=sample_published().frames,
        network_text=text,
        definition_texts=read_definition_texts(),
        published_at=datetime(2026, 11, 4, 7, tzinfo=UTC),
        software_version="0",
    )
    return tmp_path


def test_command_from_catalogue_to_signature(published_small, capsys) -> None:
    def say(*words: str, code: int = 0) -> str:
        assert main(["requirements", *words, "--network", str(published_small)], {}) == code
        out = capsys.readouterr()
        return out.err if code else out.out

    assert "ISO 15189:2022, 8.3 (from memory, to be verified against the standard)" in say("list")
    told = ("--site", SITE, "--month", "2026-10")
    assert "REQ-016  no evidence" in say("verdict", *told, "--short")
    signed = ("--answer", "met", "--words", "Phantom read", "--until", "2026-12-31")
    out = say("sign", "REQ-016", "--site", SITE, "--from", "2026-10", *signed, "--by", "lena")
    assert out.startswith("SIGN-0001  REQ-016  S3  met  2026-10 to 2026-12-31  signed by lena")
    rows = json.loads(say("verdict", *told, "--json", "--as-known", "now"))
    (row,) = [one for one in rows if one["requirement"] == "REQ-016"]
    assert row["answer"] == "met"
    assert row["clause_mark"] == "M"
    assert "SIGN-0001" in say("list", "--signed")
    out = published_small / "verdicts.csv"
    assert say("export", "--month", "2026-10", "--out", str(out)).endswith("verdicts.\n")
    assert "[USE-054]" in say("verdict", "--site", "X", "--month", "2026-10", code=2)
    assert "Withdrawn by lena" in say("withdraw", "SIGN-0001", "--why", "x", "--by", "lena")
