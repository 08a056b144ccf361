"""Documents under control: four eyes, readers, ends, and network.toml held to them."""

from datetime import date, timedelta
from pathlib import Path

import pytest

from qa.cli import main
from qa.followup.decide_document import Draft
from qa.jobs.followup.documents import DocumentDesk, refuse_unapproved
from qa.jobs.followup.drafts import draft_of_definition, find_definition
from qa.jobs.followup.trail import verify_trail
from qa.jobs.refresh import run_refresh
from qa.model.document_words import DocumentKind, DocumentState
from qa.model.errors import AccessRefused, FollowupError
from qa.model.permissions import Actor, Role
from qa.stores.definitions import load_definitions
from qa.stores.followup.store import FollowupStore
from qa.stores.settings import load_network
from tests.followup.notes import AT, LEAD, MANAGER, NETWORK_TEXT, OPERATOR, REVIEWER

SECOND = Actor("milan", "Milan (invented)", (Role.QA_MANAGER,))
FIRST_DAY = date(2026, 1, 1)
CRITERIA = "common-practice.v1"


def desk(store: FollowupStore, actor: Actor | None = MANAGER, *, days: int = 0) -> DocumentDesk:
    return DocumentDesk(store, actor, AT + timedelta(days=days))


def criteria(name: str = CRITERIA) -> Draft:
    text, _ = find_definition(DocumentKind.CRITERIA, name)
    return draft_of_definition(DocumentKind.CRITERIA, text, where=name)


def protocol(
    version: int = 1, text: str = "Two hours of fasting.", site: str | None = None
) -> Draft:
    kind = DocumentKind.PROTOCOL
    return Draft(kind, "fasting", version, "Fasting", f"f{version}", text, site)


def propose(store: FollowupStore, draft: Draft, *, from_day: date = FIRST_DAY) -> None:
    desk(store).propose(draft, from_day=from_day, changes="As agreed")


def agree(store: FollowupStore, draft: Draft, *, from_day: date = FIRST_DAY) -> None:
    propose(store, draft, from_day=from_day)
    desk(store, SECOND).approve(draft.document_id)


@pytest.mark.parametrize(
    ("days_after", "state"),
    [(-1, DocumentState.APPROVED), (0, DocumentState.IN_FORCE), (1, DocumentState.IN_FORCE)],
)
def test_state_on_the_days_around_the_first_one(store, days_after, state) -> None:
    agree(store, protocol())
    one = desk(store).document("fasting.v1")
    assert one.state_on(FIRST_DAY + timedelta(days=days_after)) is state


def test_approve_needs_a_second_person(store) -> None:
    propose(store, criteria())
    with pytest.raises(FollowupError, match=r"FUP-072.*somebody else"):
        desk(store).approve(CRITERIA)
    one = desk(store, SECOND).approve(CRITERIA, words="Seen")
    assert (one.proposed_by, one.approved_by) == ("maria", "milan")
    assert verify_trail(store).is_whole


def test_approve_of_another_content_than_seen_is_refused(store) -> None:
    propose(store, criteria())
    with pytest.raises(FollowupError, match="FUP-073"):
        desk(store, SECOND).approve(CRITERIA, fingerprint="0" * 12)
    assert not desk(store).document(CRITERIA).is_approved


def test_propose_of_what_waits_or_stands_is_refused(store) -> None:
    propose(store, protocol())
    with pytest.raises(FollowupError, match="FUP-070"):
        propose(store, protocol())
    desk(store, SECOND).approve("fasting.v1")
    with pytest.raises(FollowupError, match="FUP-070"):
        propose(store, protocol())


def test_what_was_turned_down_can_be_proposed_again(store) -> None:
    propose(store, protocol())
    desk(store, SECOND).turn_down("fasting.v1", why="Rest is missing")
    one = desk(store).document("fasting.v1")
    assert one.state_on(FIRST_DAY) is DocumentState.REFUSED
    propose(store, protocol(text="Two hours of fasting, ten minutes of rest."))
    assert desk(store).document("fasting.v1").state_on(FIRST_DAY) is DocumentState.PROPOSED


def test_a_newer_version_ends_the_older_on_its_first_day(store) -> None:
    agree(store, protocol())
    agree(store, protocol(2, "Three hours of fasting."), from_day=date(2026, 6, 1))
    older, newer = desk(store).documents()
    assert older.ended_on == date(2026, 6, 1)
    assert older.state_on(date(2026, 5, 31)) is DocumentState.IN_FORCE
    assert older.state_on(date(2026, 6, 1)) is DocumentState.ENDED
    assert set(newer.differences) == {
        "new line: Three hours of fasting.",
        "line left out: Two hours of fasting.",
    }


def test_a_sites_own_protocol_leaves_the_networks_in_force(store) -> None:
    agree(store, protocol())
    local = Draft(DocumentKind.PROTOCOL, "fasting-north", 1, "Fasting", "f9", "x", "north")
    desk(store, LEAD).propose(local, from_day=FIRST_DAY, changes="For north")
    desk(store, MANAGER).approve("fasting-north.v1")
    assert desk(store).document("fasting.v1").ended_on is None


def test_readers_are_kept_once_and_only_of_what_is_approved(store) -> None:
    propose(store, protocol())
    with pytest.raises(FollowupError, match="FUP-074"):
        desk(store, LEAD).confirm_reading("fasting.v1")
    desk(store, SECOND).approve("fasting.v1")
    desk(store, OPERATOR).confirm_reading("fasting.v1")
    one = desk(store, LEAD).confirm_reading("fasting.v1")
    assert [(reader.by, reader.sites) for reader in one.reads] == [
        ("olga", ()),
        ("lena", ("north",)),
    ]
    with pytest.raises(FollowupError, match="FUP-074"):
        desk(store, LEAD).confirm_reading("fasting.v1")


@pytest.mark.parametrize(
    ("actor", "does"),
    [
        (None, lambda it: it.documents()),
        (REVIEWER, lambda it: it.approve("fasting.v1")),
        (LEAD, lambda it: it.approve("fasting.v1")),
        (LEAD, lambda it: it.propose(protocol(3), from_day=FIRST_DAY, changes="x")),
        (OPERATOR, lambda it: it.end("fasting.v1", on=FIRST_DAY, why="x")),
        (REVIEWER, lambda it: it.confirm_reading("fasting.v1")),
    ],
)
def test_who_may_not_is_refused_and_nothing_is_kept(store, actor, does) -> None:
    agree(store, protocol())
    with pytest.raises(AccessRefused):
        does(desk(store, actor))
    assert desk(store).document("fasting.v1").n_events == 2


def test_seen_before_somebody_else_changed_it_is_refused(store) -> None:
    propose(store, protocol())
    desk(store, SECOND).turn_down("fasting.v1", why="No")
    with pytest.raises(FollowupError, match="FUP-010"):
        desk(store, SECOND).turn_down("fasting.v1", why="No", seen=1)


def ask_for_approval(folder: Path, *, is_asked: bool = True) -> None:
    text = (folder / "network.toml").read_text(encoding="utf-8")
    line = f"[settings]\ncriteria_need_approval = {str(is_asked).lower()}\n"
    (folder / "network.toml").write_text(text + line, encoding="utf-8")


def refuse(folder: Path, environ: dict[str, str]) -> str:
    try:
        refuse_unapproved(folder, load_network(folder), load_definitions(), environ=environ)
    except FollowupError as problem:
        return problem.message
    return ""


def test_network_that_asks_for_approval_is_held_to_it(
    store, network_folder, followup_environ
) -> None:
    assert refuse(network_folder, followup_environ) == ""  # The setting is off.
    ask_for_approval(network_folder)
    assert "was never proposed" in refuse(network_folder, followup_environ)
    propose(store, criteria(), from_day=date(2020, 1, 2))
    assert "waits for approval" in refuse(network_folder, followup_environ)
    desk(store, SECOND).approve(CRITERIA)
    said = refuse(network_folder, followup_environ)
    assert "[FUP-075]" in said
    assert "approved from 2020-01-02 on, not from 2020-01-01" in said


@pytest.mark.parametrize("from_day", [date(2019, 12, 31), date(2020, 1, 1)])
def test_set_approved_up_to_its_first_day_may_judge(
    store, network_folder, followup_environ, from_day
) -> None:
    ask_for_approval(network_folder)
    agree(store, criteria(), from_day=from_day)
    assert refuse(network_folder, followup_environ) == ""


def test_set_approved_with_another_content_may_not_judge(
    store, network_folder, followup_environ
) -> None:
    ask_for_approval(network_folder)
    changed = Draft(**{**vars(criteria()), "fingerprint": "0123456789ab"})
    agree(store, changed, from_day=date(2020, 1, 1))
    assert "with another content" in refuse(network_folder, followup_environ)


def test_refresh_refuses_before_it_publishes(tmp_path: Path) -> None:
    (tmp_path / "network.toml").write_text(NETWORK_TEXT, encoding="utf-8")
    ask_for_approval(tmp_path)
    with pytest.raises(FollowupError, match="FUP-075"):
        run_refresh(tmp_path, at=AT, by="test", software_version="0")
    assert not (tmp_path / "snapshots").exists()


def test_command_from_proposal_to_reader(tmp_path: Path, capsys) -> None:
    (tmp_path / "network.toml").write_text(NETWORK_TEXT, encoding="utf-8")

    def say(*words: str, code: int = 0) -> str:
        assert main(["documents", *words, "--network", str(tmp_path)], {}) == code
        out = capsys.readouterr()
        return out.err if code else out.out

    told = ("--from", "2026-12-01", "--changes", "Success rate", "--before", CRITERIA)
    out = say("propose", "criteria set", "classic.v1", *told, "--by", "maria")
    assert "classic.v1 waits for approval by somebody else than maria." in out
    assert "lowest share of valid among attempted: new, 0.6" in out
    assert "FUP-072" in say("approve", "classic.v1", "--by", "maria", code=24)
    assert "in force from 2026-12-01" in say("approve", "classic.v1", "--by", "milan")
    assert "read by 1" in say("read", "classic.v1", "--by", "lena", "--site", "north")
    assert "criteria set  classic.v1" in say("list")
    shown = say("show", "classic.v1")
    assert "Approved by:    milan" in shown
    assert "lena" in shown
    paper = tmp_path / "rest.txt"
    paper.write_text("Ten minutes of rest.", encoding="utf-8")
    say("propose", "protocol", "rest", *told[:4], "--file", str(paper), "--by", "maria")
    assert say("show", "rest.v1", "--text") == "Ten minutes of rest.\n"
    assert "not approved" in say("refuse", "rest.v1", "--why", "Too short", "--by", "milan")
    assert "[USE-050]" in say("list", "--kind", "letter", code=2)
