"""A change and its line of the trail are kept together; nothing is rewritten."""

import stat
from datetime import timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError, IntegrityError

from qa.cli.serve import make_access
from qa.jobs.followup.opening import load_records, open_record
from qa.jobs.followup.trail import verify_trail
from qa.model.errors import FollowupError
from qa.model.record import Entry, Event, time_text
from qa.stores.followup.engine import ENVIRON_URL, followup_url
from qa.stores.followup.migrate import revisions
from qa.stores.followup.store import FollowupStore
from qa.stores.followup.tables import METADATA
from tests.followup.notes import AT, NOTE, keep


def test_change_stands_with_who_when_before_and_after(store: FollowupStore) -> None:
    keep(store, "n1", "first")
    keep(store, "n1", "second", by="lena", at=AT + timedelta(hours=1))
    with store.reading() as reading:
        first, second = reading.entries()
        assert [note.words for note in load_records(reading, NOTE)] == ["second"]
    assert (first.by, first.action, first.before, first.after) == (
        "maria",
        "written",
        "",
        "Words: first",
    )
    assert (second.no, second.by, second.at) == (2, "lena", "2026-11-04T10:30:00.000000+00:00")
    assert (second.before, second.after) == ("Words: first", "Words: second")
    assert verify_trail(store).is_whole


def test_what_fails_leaves_neither_change_nor_line(store: FollowupStore) -> None:
    keep(store, "n1", "first")
    event = Event("note", "n1", 2, "changed", '{"words":"x"}', time_text(AT), "maria")

    def append_and_fail() -> None:
        with store.writing() as writing:
            writing.append(event, action="changed")
            raise RuntimeError("between event and end")

    with pytest.raises(RuntimeError):
        append_and_fail()
    with store.reading() as reading:
        assert len(reading.events("note")) == len(list(reading.entries())) == 1


def test_one_number_is_given_once(store: FollowupStore) -> None:
    keep(store, "n1", "first")
    event = Event("note", "n1", 1, "written", "{}", time_text(AT), "maria")
    with pytest.raises(IntegrityError), store.writing() as writing:
        writing.append(event, action="written")


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE trail SET text_after = 'x'",
        "UPDATE trail SET recorded_by = 'somebody' WHERE entry_no = 1",
        "DELETE FROM trail",
        "UPDATE events SET data = '{}'",
        "UPDATE events SET event_no = 7, kind = NULL, data = NULL, recorded_by = NULL",
        "DELETE FROM events",
    ],
)
def test_database_refuses_to_rewrite(store: FollowupStore, statement: str) -> None:
    keep(store, "n1", "first")
    with pytest.raises((DBAPIError, FollowupError), match=r"append-only"), store.writing() as one:
        one.connection.execute(sa.text(statement))
    assert verify_trail(store).is_whole


def test_stale_edit_says_what_the_other_changed_and_writes_nothing(store: FollowupStore) -> None:
    keep(store, "n1", "first")
    keep(store, "n1", "by lena", by="lena", seen_no=1)
    with pytest.raises(FollowupError) as caught:
        keep(store, "n1", "by maria", seen_no=1)
    assert caught.value.code == "FUP-010"
    assert "lena at 2026-11-04T09:30 UTC: changed" in caught.value.message
    assert "Words: by lena" in caught.value.message
    assert keep(store, "n1", "merged", seen_no=2).words == "merged"


def test_clock_that_goes_back_breaks_nothing(store: FollowupStore) -> None:
    for hours in (0, 5, -3, 2):
        keep(store, "n1", f"at {hours}", at=AT + timedelta(hours=hours))
    found = verify_trail(store)
    assert found.is_whole
    assert [note.split(":")[0] for note in found.notes] == ["The clock went back at row 3"]
    with store.reading() as reading:
        assert load_records(reading, NOTE)[0].words == "at 2"


def test_a_log_in_is_a_line_without_event(store: FollowupStore) -> None:
    with store.writing() as writing:
        writing.note(Entry(time_text(AT), "lena", "logged in", "log-in", "lena", record_no=4))
    with store.reading() as reading:
        (line,) = reading.entries(sa.true())
    assert (line.action, line.record_no, line.event_digest) == ("logged in", None, None)
    assert verify_trail(store).is_whole


def test_migrated_tables_are_those_of_the_program(store: FollowupStore) -> None:
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    with store.reading() as reading:
        context = MigrationContext.configure(reading.connection)
        assert compare_metadata(context, METADATA) == []
        assert context.get_current_revision() == revisions()[-1]


def test_newer_store_is_refused(
    store: FollowupStore, network_folder: Path, followup_environ: dict[str, str]
) -> None:
    with store.writing() as writing:
        writing.connection.execute(sa.text("UPDATE alembic_version SET version_num = 'r9999'"))
    with pytest.raises(FollowupError, match=r"FUP-002.*r9999.*nothing was changed"):
        open_record(network_folder, environ=followup_environ)


def test_file_is_private_and_in_wal_mode(network_folder: Path) -> None:
    store = open_record(network_folder, environ={})
    assert stat.S_IMODE((network_folder / "followup.sqlite").stat().st_mode) == 0o600
    with store.reading() as reading:
        modes = [
            reading.connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "synchronous", "busy_timeout")
        ]
    assert modes == ["wal", 2, 60_000]
    store.close()


@pytest.mark.parametrize(
    ("setting", "environ"),
    [
        ("mysql://a@b/c", {}),
        ("postgresql://a@b", {}),
        ("postgresql://a:secret@b/c", {}),
        ("", {ENVIRON_URL: "followup.sqlite"}),
    ],
)
def test_other_addresses_are_refused(setting: str, environ: dict[str, str], tmp_path: Path) -> None:
    with pytest.raises(FollowupError, match="FUP-001") as caught:
        followup_url(tmp_path, setting=setting, environ=environ)
    assert "secret" not in caught.value.message


def test_missing_driver_is_said_in_words(
    network_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    environ = {ENVIRON_URL: "postgresql://nobody@127.0.0.1:1/none"}
    with pytest.raises(FollowupError, match=r"FUP-015.*elastography-qa\[postgres\]"):
        open_record(network_folder, environ=environ)


def test_database_out_of_reach_is_said_in_words(network_folder: Path) -> None:
    environ = {ENVIRON_URL: "postgresql://nobody@127.0.0.1:1/none"}
    with pytest.raises(FollowupError, match="FUP-006"):
        open_record(network_folder, environ=environ)


def test_screens_stay_shut_without_a_store_that_may_hold_accounts(network_folder: Path) -> None:
    store = open_record(network_folder, environ={})
    with store.writing() as writing:
        writing.connection.execute(sa.text("UPDATE alembic_version SET version_num = 'r9999'"))
    store.close()
    with pytest.raises(FollowupError, match="FUP-002"):
        make_access(network_folder, {})
