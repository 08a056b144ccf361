"""Decisions and their trail are part of a backup, also while somebody writes."""

import sqlite3
import stat
from pathlib import Path

import pytest

from qa.jobs.backup import run_restore
from qa.jobs.followup.opening import load_records, open_record
from qa.jobs.followup.trail import verify_trail
from qa.model.errors import BackupError
from tests.followup.notes import NOTE, keep
from tests.robust.archives import back_up, rewritten, unpacked


def test_backup_holds_decisions_and_a_whole_trail(folder: Path, tmp_path: Path) -> None:
    store = open_record(folder, environ={})
    for number in range(5):
        keep(store, "n1", f"words {number}")
    manifest = back_up(folder, tmp_path / "b.tar.zst")
    keep(store, "n1", "after the backup")
    store.close()
    assert (manifest.counts["rows of events"], manifest.counts["rows of trail"]) == (5, 5)
    assert not list(folder.glob(".followup-copy-*"))
    run_restore(tmp_path / "b.tar.zst", tmp_path / "new")
    assert stat.S_IMODE((tmp_path / "new" / "followup.sqlite").stat().st_mode) == 0o600
    restored = open_record(tmp_path / "new", environ={})
    with restored.reading() as reading:
        assert [note.words for note in load_records(reading, NOTE)] == ["words 4"]
    assert verify_trail(restored).is_whole
    restored.close()


def test_backup_is_of_one_moment_while_a_change_is_under_way(folder: Path, tmp_path: Path) -> None:
    store = open_record(folder, environ={})
    keep(store, "n1", "kept")
    with sqlite3.connect(folder / "followup.sqlite", isolation_level=None) as other:
        other.execute("BEGIN IMMEDIATE")
        other.execute("INSERT INTO reminders VALUES ('r','c','i','w','u','d','q',NULL)")
        manifest = back_up(folder, tmp_path / "b.tar.zst")
        other.execute("ROLLBACK")
    other.close()
    store.close()
    assert manifest.counts["rows of trail"] == 1


def test_restore_refuses_a_followup_file_that_is_none(folder: Path, tmp_path: Path) -> None:
    open_record(folder, environ={}).close()
    back_up(folder, tmp_path / "b.tar.zst")
    members = unpacked(tmp_path / "b.tar.zst")
    members["followup.sqlite"] = b"not a database"
    bad = rewritten(tmp_path / "b.tar.zst", tmp_path / "bad.tar.zst", members)
    with pytest.raises(BackupError, match=r"BAK-005.*followup\.sqlite"):
        run_restore(bad, tmp_path / "new")
    assert not (tmp_path / "new").exists()
