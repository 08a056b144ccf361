"""Files that are no whole files, and names made to trip a program; real ones, in a real folder."""

import os
import shutil
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest

from qa.jobs.intake import IntakeReport, run_intake
from qa.readers import whole_file
from qa.stores.warehouse import open_warehouse
from tests.robust.network import KEY, file_text, make_network

NOBODY = 65534


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A network with two good files, one from each site, of three rows."""
    return make_network(tmp_path / "network", n_files=2, n_rows=3)


def read(folder: Path, **more) -> IntakeReport:
    known_at = datetime(2026, 11, 5, tzinfo=UTC)
    return run_intake(folder, key=KEY.encode(), known_at=known_at, **more)


def codes(report: IntakeReport) -> list[str]:
    return [problem.code for problem in report.problems]


def assert_good_files_are_in(report: IntakeReport) -> None:
    assert (report.n_files_read, report.n_accepted) == (2, 6)


def test_intake_of_pipes_folders_and_devices_refuses_and_does_not_wait(folder: Path) -> None:
    site = folder / "incoming" / "harbour"
    os.mkfifo(site / "pipe.csv")
    report = read(folder)
    assert codes(report) == ["INT-042"]
    assert_good_files_are_in(report)
    given = [site / "pipe.csv", site, Path("/dev/zero"), site / "none.csv"]
    assert codes(read(folder, files=given)) == ["INT-042", "INT-042", "INT-042", "INT-012"]


def test_intake_does_not_follow_links(folder: Path, tmp_path: Path) -> None:
    """A link could point to another site's file, out of the folder, to itself or to nothing."""
    site = folder / "incoming" / "harbour"
    (site / "other.csv").symlink_to("../lantern/lantern_0001.csv")
    (site / "loop.csv").symlink_to("loop.csv")
    (site / "nothing.csv").symlink_to("/nowhere")
    (site / "round").symlink_to("..")
    report = read(folder)
    assert codes(report) == ["INT-041"] * 4
    assert_good_files_are_in(report)


def test_intake_follows_the_link_that_is_a_sites_own_folder(folder: Path, tmp_path: Path) -> None:
    share = tmp_path / "share"
    shutil.move(folder / "incoming" / "harbour", share)
    (folder / "incoming" / "harbour").symlink_to(share)
    report = read(folder)
    assert report.is_clean
    assert_good_files_are_in(report)


NAMES = {
    "new line": "a\nb [red]x[bold.csv",
    "no text": os.fsdecode(b"\xff\xfe.csv"),
    "leading dash": "--site.csv",
    "formula": "=cmd|' '!A1.csv",
    "climbing": "..csv",
    "turned": "\u202efdp.csv",
    "long": "x" * 251 + ".csv",
}


@pytest.mark.parametrize("name", NAMES.values(), ids=NAMES)
def test_intake_reads_a_file_whatever_its_name(folder: Path, name: str) -> None:
    path = folder / "incoming" / "harbour" / ("_" + name if name.startswith(".") else name)
    path.write_text(file_text(7, 3), encoding="utf-8")
    bad = path.with_name("bad " + path.name[-200:])
    bad.write_bytes(b"")
    report = read(folder)
    assert codes(report) == ["INT-001"]
    assert report.n_accepted == 9
    with open_warehouse(folder / "warehouse.duckdb") as warehouse:
        names = warehouse.files()["name"].to_list()
    for text in [*names, *(problem.message for problem in report.problems)]:
        assert text.isprintable()
        text.encode("utf-8")


def open_to_all(place: Path) -> None:
    """Let anybody into pytest's own folders on the way, however many there are."""
    for part in (place, *place.parents):
        if part == place or part.name.startswith(("pytest-", "popen-")):
            part.chmod(0o755)


@contextmanager
def as_nobody(*folders: Path) -> Iterator[None]:
    """Without the rights of root, who may read everything."""
    if os.geteuid() != 0:
        yield
        return
    for folder in folders:
        folder.chmod(0o777)
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)


def test_intake_of_unreadable_file_and_folder_says_so(folder: Path, tmp_path: Path) -> None:
    locked = folder / "incoming" / "harbour" / "locked.csv"
    locked.write_text(file_text(7, 3), encoding="utf-8")
    locked.chmod(0o000)
    closed = folder / "incoming" / "lantern" / "closed"
    closed.mkdir(mode=0o000)
    # Others may pass through the folders of the test, all the way up.
    open_to_all(tmp_path)
    try:
        with as_nobody(folder):
            report = read(folder)
    finally:
        closed.chmod(0o755)
        locked.chmod(0o644)
    assert codes(report) == ["INT-012", "INT-012"]
    assert all("Permission denied" in problem.message for problem in report.problems)
    assert_good_files_are_in(report)
    again = read(folder)
    assert (again.n_accepted, again.is_clean) == (3, True)


def test_intake_in_a_folder_it_may_not_write_says_so(folder: Path, tmp_path: Path) -> None:
    open_to_all(tmp_path)
    assert_good_files_are_in(read(folder))
    with as_nobody(), pytest.raises(Exception, match="WHS-011"):
        read(folder)


def test_intake_of_a_file_that_vanishes_goes_on(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is there when the folder is listed and hashed, and gone when it is read."""
    path = folder / "incoming" / "harbour" / "harbour_0000.csv"
    monkeypatch.setattr(
        "qa.jobs.intake_reading.read_whole", after(lambda: path.unlink(missing_ok=True))
    )
    report = read(folder)
    assert (codes(report), report.n_accepted) == (["INT-012"], 3)


def test_intake_of_a_file_that_grows_is_put_off_and_not_noted(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = folder / "incoming" / "harbour" / "harbour_0000.csv"
    whole = path.read_text(encoding="utf-8")
    path.write_text(whole[:-40], encoding="utf-8")
    with monkeypatch.context() as patched:
        patched.setattr("qa.jobs.intake_reading.read_whole", after(lambda: path.write_text(whole)))
        report = read(folder)
    assert (codes(report), report.n_accepted) == (["INT-040"], 3)
    with open_warehouse(folder / "warehouse.duckdb") as warehouse:
        assert warehouse.files()["state"].to_list() == ["read"]
    assert read(folder).n_accepted == 3


def after(change):
    """read_whole, once something has happened to the file."""

    def reading(path: Path, **more) -> bytes:
        if path.name.startswith("harbour"):
            change()
        return whole_file.read_whole(path, **more)

    return reading


def test_read_whole_of_a_file_that_is_written_all_the_time_never_gives_a_mixture(
    tmp_path: Path,
) -> None:
    """A writer replaces the content in place as fast as it can; hash and bytes always agree."""
    path = tmp_path / "a.csv"
    texts = [bytes([65 + number]) * 200_000 for number in range(4)]
    path.write_bytes(texts[0])
    is_done = threading.Event()

    def keep_writing() -> None:
        number = 0
        while not is_done.is_set():
            number += 1
            with path.open("r+b") as file:
                file.write(texts[number % 4])

    writer = threading.Thread(target=keep_writing)
    writer.start()
    seen = {"whole": 0, "changed": 0}
    until = time.monotonic() + 0.7
    try:
        while time.monotonic() < until:
            file_id = whole_file.hash_file(path, name="a.csv")
            try:
                content = whole_file.read_whole(
                    path, name="a.csv", file_id=file_id, file_format="csv"
                )
            except whole_file.SourceFileError as problem:
                seen[{"INT-040": "changed"}[problem.code]] += 1
            else:
                seen["whole"] += 1
                assert whole_file.hashlib.sha256(content).hexdigest() == file_id
    finally:
        is_done.set()
        writer.join()
    assert seen["changed"] > 0
