"""Backup and restore of a published network, beside running screens, and with archives gone bad."""

import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb
import pytest

from qa.jobs.backup import run_restore, write_archive
from qa.jobs.intake import run_intake
from qa.jobs.refresh import run_refresh
from qa.model.errors import BackupError, KeyMissing, UserError
from qa.stores.backup_archive import Manifest
from qa.stores.snapshots import open_current
from qa.stores.warehouse import open_warehouse
from tests.robust.archives import AT, back_up, unpacked
from tests.robust.network import ENVIRON, KEY, ROOT, make_network

HIDDEN = ("Quillfeather", "90000001", KEY)


def exams_of(folder: Path) -> list[dict]:
    with open_warehouse(folder / "warehouse.duckdb") as warehouse:
        return warehouse.current_exams().to_dicts()


def test_run_restore_gives_back_the_whole_network(
    archive: Path, folder: Path, tmp_path: Path
) -> None:
    manifest = run_restore(archive, tmp_path / "new")
    assert manifest.counts["rows of exams"] == 120
    assert (manifest.counts["snapshots"], manifest.counts["packs"]) == (1, 1)
    assert exams_of(tmp_path / "new") == exams_of(folder)
    assert open_current(tmp_path / "new").frame("exams").height == 120
    kept = {one.name for one in manifest.files}
    there = {
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*")
        if path.is_file() and "incoming" not in path.parts
    }
    assert there <= kept | {".pseudonym_key"}
    for name in kept - {"warehouse.duckdb"}:
        assert (tmp_path / "new" / name).read_bytes() == (folder / name).read_bytes()


def test_run_restore_lets_intake_and_refresh_go_on(archive: Path, tmp_path: Path) -> None:
    new = tmp_path / "new"
    run_restore(archive, new)
    make_network(new, n_files=5, n_rows=30)
    report = run_intake(new, key=KEY.encode(), known_at=AT)
    assert (report.n_files_known, report.n_accepted) == (4, 30)
    run_refresh(new, at=AT.replace(day=6), by="test", software_version="0")
    assert open_current(new).frame("exams").height == 150


def test_run_backup_holds_no_name_no_number_and_no_key(archive: Path) -> None:
    everything = b"".join(unpacked(archive).values())
    assert not any(text.encode() in everything for text in HIDDEN)
    assert archive.stat().st_mode & 0o777 == 0o600


def test_run_backup_with_key_takes_it_also_from_the_environment(
    folder: Path, tmp_path: Path
) -> None:
    back_up(folder, tmp_path / "k.tar.zst", with_key=True, environ=ENVIRON)
    manifest = run_restore(tmp_path / "k.tar.zst", tmp_path / "new")
    key = tmp_path / "new" / ".pseudonym_key"
    assert manifest.has_key
    assert key.read_text(encoding="ascii").strip() == KEY
    assert key.stat().st_mode & 0o777 == 0o600


def test_run_backup_with_key_that_is_lost_makes_none(folder: Path, tmp_path: Path) -> None:
    with pytest.raises(KeyMissing):
        back_up(folder, tmp_path / "k.tar.zst", with_key=True)
    assert not (tmp_path / "k.tar.zst").exists()


def test_run_backup_never_writes_over_a_file(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "a.tar.zst").write_text("mine")
    with pytest.raises(BackupError, match="BAK-001"):
        back_up(folder, tmp_path / "a.tar.zst")
    assert (tmp_path / "a.tar.zst").read_text() == "mine"


def test_run_backup_into_a_missing_folder_says_so(folder: Path, tmp_path: Path) -> None:
    with pytest.raises(BackupError, match="BAK-002"):
        back_up(folder, tmp_path / "no" / "a.tar.zst")


def test_run_backup_takes_what_lies_in_the_write_ahead_log(folder: Path, tmp_path: Path) -> None:
    """A killed writer leaves committed rows beside the file; a plain copy would lose them."""
    script = (
        "import duckdb, os, sys; con = duckdb.connect(sys.argv[1]);"
        "con.execute(\"INSERT INTO meta SELECT 99, 'left', 'in the log'\"); os._exit(9)"
    )
    subprocess.run([sys.executable, "-c", script, str(folder / "warehouse.duckdb")], check=False)
    assert (folder / "warehouse.duckdb.wal").stat().st_size > 0
    back_up(folder, tmp_path / "a.tar.zst")
    run_restore(tmp_path / "a.tar.zst", tmp_path / "new")
    with open_warehouse(tmp_path / "new" / "warehouse.duckdb") as warehouse:
        assert warehouse.meta("left") == "in the log"


def test_run_backup_keeps_the_warehouse_to_itself_until_it_is_done(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Closing a handle on a locked file gives the lock away on POSIX; the backup must not."""
    path = folder / "warehouse.duckdb"
    tried = []

    def write(target: Path, **more) -> Manifest:
        other = f"import duckdb; duckdb.connect({str(path)!r})"
        for _, file in more["contents"]:
            file.read()
        tried.append(subprocess.run([sys.executable, "-c", other], capture_output=True).returncode)
        return write_archive(target, **more)

    monkeypatch.setattr("qa.jobs.backup.write_archive", write)
    back_up(folder, tmp_path / "a.tar.zst")
    assert tried == [1]


@pytest.mark.parametrize("name", ["network.toml", "warehouse.duckdb", "snapshots", "profiles"])
def test_run_restore_never_writes_over_a_network(archive: Path, tmp_path: Path, name: str) -> None:
    place = tmp_path / "place"
    place.mkdir()
    (place / name).write_text("mine")
    with pytest.raises(BackupError, match="BAK-006"):
        run_restore(archive, place)
    assert [path.name for path in place.iterdir()] == [name]
    assert (place / name).read_text() == "mine"


def test_run_restore_beside_incoming_is_possible(archive: Path, tmp_path: Path) -> None:
    place = tmp_path / "place"
    (place / "incoming" / "harbour").mkdir(parents=True)
    run_restore(archive, place)
    assert len(exams_of(place)) == 120
    assert not list(place.glob(".restoring*"))


@contextmanager
def screens(folder: Path) -> Iterator[str]:
    """A server process of the screens; its address."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "qa", "serve", "--network", str(folder), "--port", str(port)]
    with subprocess.Popen(
        command, cwd=ROOT, env=ENVIRON, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    ) as server:
        try:
            yield f"http://127.0.0.1:{port}/"
        finally:
            server.terminate()


def ask(address: str) -> int:
    until = time.monotonic() + 40
    while True:
        try:
            with urllib.request.urlopen(address, timeout=10) as answer:
                return answer.status
        except OSError:
            if time.monotonic() > until:
                raise
            time.sleep(0.1)


def test_backup_and_restore_beside_running_screens(folder: Path, tmp_path: Path) -> None:
    """By the commands, as processes of their own, while the server answers."""

    def run(*words: str) -> subprocess.CompletedProcess:
        return subprocess.run(
            [sys.executable, "-m", "qa", *words], env=ENVIRON, capture_output=True, text=True
        )

    file = str(tmp_path / "a.tar.zst")
    with screens(folder) as address:
        assert ask(address) == 200
        done = run("backup", file, "--network", str(folder))
        assert done.returncode == 0, done.stderr
        assert "pseudonym key is not in it" in done.stdout
        assert ask(address) == 200
    done = run("restore", file, "--into", str(tmp_path / "new"))
    assert done.returncode == 0, done.stderr
    assert "120 rows of exams" in done.stdout
    with screens(tmp_path / "new") as address:
        assert ask(address) == 200
    done = run("restore", file, "--into", str(tmp_path / "new"))
    assert done.returncode == 22
    assert "BAK-006" in done.stderr


def test_run_backup_while_another_program_writes_waits_and_then_says_so(
    folder: Path, tmp_path: Path
) -> None:
    con = duckdb.connect(str(folder / "warehouse.duckdb"))
    script = (
        "import sys; from tests.robust.test_backup import *\n"
        "try: back_up(Path(sys.argv[1]), Path(sys.argv[2]), wait_seconds=0.3)\n"
        "except UserError as problem: print(problem.code)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(folder), str(tmp_path / "a.tar.zst")],
        env=ENVIRON, cwd=ROOT, capture_output=True, text=True,
    )  # fmt: skip
    con.close()
    assert done.stdout.strip() == "WHS-002", done.stderr
    assert not (tmp_path / "a.tar.zst").exists()
    assert issubclass(BackupError, UserError)
    assert os.listdir(tmp_path) == ["network"]
