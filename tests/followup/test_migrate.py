"""An older store comes forward whole, with a copy first, or stays as it was."""

import shutil
from pathlib import Path

import pytest
import sqlalchemy as sa

from qa.jobs.followup.opening import load_records, open_record
from qa.jobs.followup.trail import verify_trail
from qa.model.errors import FollowupError
from qa.stores.followup import migrate
from qa.stores.followup.store import FollowupStore
from tests.followup.notes import NOTE, keep

STEP = """
import sqlalchemy as sa
from alembic import op

revision = "{next}"
down_revision = "{last}"


def upgrade():
    op.create_table("later", sa.Column("later_id", sa.Integer, primary_key=True))
    {more}
"""


@pytest.fixture
def newer_program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A program with one step more; its file is returned, to be written."""
    folder = tmp_path / "migrations"
    shutil.copytree(migrate.FOLDER, folder, ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(migrate, "FOLDER", folder)
    return folder / "versions" / "r9000_later.py"


def write_step(file: Path, *, more: str = "") -> str:
    last = migrate.revisions()[-1]
    file.write_text(STEP.format(next="r9000", last=last, more=more), encoding="utf-8")
    return last


def tables_of(store: FollowupStore) -> set[str]:
    with store.reading() as reading:
        return set(sa.inspect(reading.connection).get_table_names())


def test_older_store_comes_forward_with_a_copy_first(
    store: FollowupStore, network_folder: Path, followup_environ: dict, newer_program: Path
) -> None:
    keep(store, "n1", "before")
    last = write_step(newer_program)
    newer = open_record(network_folder, environ=followup_environ)
    assert "later" in tables_of(newer)
    keep(newer, "n1", "after")
    assert verify_trail(newer).is_whole
    newer.close()
    copies = [path.name for path in network_folder.glob("followup.sqlite.*")]
    if followup_environ:
        assert copies == []
        return
    assert copies == [f"followup.sqlite.version-{last}"]
    old = network_folder.with_name("old")
    old.mkdir()
    shutil.copy(network_folder / "network.toml", old)
    shutil.move(network_folder / copies[0], old / "followup.sqlite")
    newer_program.unlink()
    older = open_record(old, environ={})
    with older.reading() as reading:
        assert [note.words for note in load_records(reading, NOTE)] == ["before"]
    older.close()


def test_step_that_fails_leaves_the_store_as_it_was(
    store: FollowupStore, network_folder: Path, followup_environ: dict, newer_program: Path
) -> None:
    keep(store, "n1", "before")
    last = write_step(newer_program, more='raise RuntimeError("in the middle")')
    with pytest.raises(RuntimeError):
        open_record(network_folder, environ=followup_environ)
    assert "later" not in tables_of(store)
    with store.reading() as reading:
        version = reading.connection.exec_driver_sql("SELECT version_num FROM alembic_version")
        assert version.scalar() == last
    keep(store, "n1", "goes on")
    assert verify_trail(store).is_whole


def test_without_a_copy_no_step_is_taken(
    network_folder: Path, newer_program: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    open_record(network_folder, environ={}).close()
    write_step(newer_program)

    def full(self: Path, target: Path) -> Path:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "rename", full)
    with pytest.raises(FollowupError, match=r"FUP-003.*the disk is full.*nothing was changed"):
        open_record(network_folder, environ={})
    assert not list(network_folder.glob("followup.sqlite.*"))
