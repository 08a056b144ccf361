"""A disk that fills up: a real small file system where we may mount one, else a limit on files.

Each case runs the command as a child, fills the disk under it, looks at the message, and then
goes on after room was made. File systems of a few megabytes stand for full disks of any size.
"""

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from qa.stores.snapshots import current_snapshot_id, open_current
from qa.stores.warehouse import open_warehouse
from tests.robust.network import make_network, n_rows_sent
from tests.robust.warm import Done
from tests.robust.warm import run_warm as run

N_FILES, N_ROWS = 24, 400
SMALL = "size=4m"


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 4 MB of its own."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = shutil.which("mount") and os.geteuid() == 0
    if (
        not mounted
        or subprocess.run(
            ["mount", "-t", "tmpfs", "-o", SMALL, "tmpfs", str(disk)],
            capture_output=True,
            check=False,
        ).returncode
    ):
        pytest.skip("needs the right to mount a small file system")
    try:
        yield disk
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def enlarge(disk: Path) -> None:
    subprocess.run(["mount", "-o", "remount,size=200m", str(disk)], check=True)


def assert_said(done: Done, code: str, exit_code: int) -> None:
    assert f"[{code}]" in done.output, done.output
    assert "the disk is full" in done.output
    assert "Traceback" not in done.output
    assert done.returncode == exit_code


def assert_whole_files(folder: Path) -> int:
    """Every file noted as read has all of its rows; the number of rows that are in."""
    with open_warehouse(folder / "warehouse.duckdb") as warehouse:
        files = warehouse.files()
        exams = warehouse.latest_versions()
    assert files["n_accepted"].sum() == exams.height
    assert set(files["n_rows"].unique()) <= {N_ROWS}
    return exams.height


def test_intake_on_a_full_disk_says_so_and_goes_on_after_room_is_made(small_disk: Path) -> None:
    folder = make_network(small_disk / "network", n_files=N_FILES, n_rows=N_ROWS)
    done = run(folder, "intake")
    assert_said(done, "WHS-010", 15)
    enlarge(small_disk)
    assert assert_whole_files(folder) < n_rows_sent(folder)
    assert run(folder, "intake").returncode == 0
    assert assert_whole_files(folder) == n_rows_sent(folder)


def test_refresh_on_a_full_disk_keeps_the_snapshot_in_force(small_disk: Path) -> None:
    folder = make_network(small_disk / "network", n_files=2, n_rows=20)
    assert run(folder, "intake").returncode == 0
    enlarge(small_disk)
    assert run(folder, "refresh").returncode == 0
    before = current_snapshot_id(folder / "snapshots")
    make_network(folder, n_files=3, n_rows=20)
    assert run(folder, "intake").returncode == 0
    # The less room, the earlier it ends: while it counts, while it publishes.
    codes = set()
    for room in (4_096, 100_000, 1_500_000, 3_500_000):
        fill(small_disk, leave=room)
        done = run(folder, "refresh")
        codes.add(done.returncode)
        if done.returncode == 0:
            break
        assert "the disk is full" in done.output
        assert "Traceback" not in done.output
        assert current_snapshot_id(folder / "snapshots") == before
        assert open_current(folder).frame("exams").height == 40
        assert not list(folder.rglob("*.unfinished*"))
        (small_disk / "filler").unlink()
    assert {15, 16} <= codes
    (small_disk / "filler").unlink(missing_ok=True)
    assert run(folder, "refresh").returncode == 0
    assert open_current(folder).frame("exams").height == 60


def fill(disk: Path, *, leave: int) -> None:
    free = shutil.disk_usage(disk).free
    with (disk / "filler").open("wb") as filler:
        os.posix_fallocate(filler.fileno(), 0, free - leave)


def test_intake_that_may_not_grow_its_file_says_so(tmp_path: Path) -> None:
    """The other way to meet the end of room, which needs no rights: a limit on file size."""
    folder = make_network(tmp_path / "network", n_files=N_FILES, n_rows=N_ROWS)
    done = run(folder, "intake", file_limit=1_000_000)
    assert_said(done, "WHS-010", 15)
    assert assert_whole_files(folder) < n_rows_sent(folder)
    assert run(folder, "intake").returncode == 0
    assert assert_whole_files(folder) == n_rows_sent(folder)


def test_refresh_that_may_not_grow_its_files_publishes_nothing(tmp_path: Path) -> None:
    folder = make_network(tmp_path / "network", n_files=6, n_rows=100)
    assert run(folder, "intake").returncode == 0
    limit = (folder / "warehouse.duckdb").stat().st_size + 4096
    done = run(folder, "refresh", file_limit=limit)
    assert done.returncode in (15, 16), done.output
    assert "the disk is full" in done.output
    assert current_snapshot_id(folder / "snapshots") is None
    assert run(folder, "refresh").returncode == 0
    assert open_current(folder).frame("exams").height == n_rows_sent(folder)
