"""Clocks that go back, and programs that start at the very same moment: order decides, not time."""

import shutil
from contextlib import ExitStack
from datetime import datetime, timedelta
from pathlib import Path

from qa.jobs.intake import run_intake
from qa.jobs.refresh import run_refresh
from qa.jobs.withdraw import run_withdraw
from qa.stores.snapshots import open_current
from qa.stores.warehouse import open_warehouse
from tests.jobs.test_intake import KEY, NOW, folder, line, write
from tests.robust.killing import assert_whole_files, contents, make_wide_network, run_calm
from tests.robust.warm import warm_child

__all__ = ["folder"]

EARLIER = NOW - timedelta(days=3)


def valid(folder: Path, moment: datetime | None = None) -> list[int]:
    with open_warehouse(folder / "warehouse.duckdb", as_known_at=moment) as warehouse:
        return sorted(warehouse.current_exams()["n_valid"].to_list())


def published(folder: Path) -> list[int]:
    snapshot = open_current(folder)
    try:
        assert snapshot.frame("monthly_counts")["n_exams"].sum() == snapshot.frame("exams").height
        return sorted(snapshot.frame("exams")["n_valid"].to_list())
    finally:
        snapshot.close()


def refresh(folder: Path, at: datetime) -> None:
    run_refresh(folder, at=at, by="test", software_version="0")


def test_correction_that_came_after_the_clock_went_back_is_the_newest(folder: Path) -> None:
    write(folder, "a.csv", line(Exam="E-1", Valid="10"), line(Exam="E-2", Valid="11"))
    run_intake(folder, key=KEY, known_at=NOW)
    refresh(folder, NOW)
    write(folder, "b.csv", line(Exam="E-1", Valid="12"))
    run_intake(folder, key=KEY, known_at=EARLIER)
    assert valid(folder) == [11, 12]
    refresh(folder, EARLIER + timedelta(hours=1))
    assert published(folder) == [11, 12]
    run_withdraw(folder, file="b.csv", reason="x", by=None, at=EARLIER - timedelta(days=1))
    assert valid(folder) == [10, 11]
    refresh(folder, EARLIER - timedelta(days=1))
    assert published(folder) == [10, 11]
    again = run_intake(folder, key=KEY, known_at=EARLIER - timedelta(days=2))
    assert (again.n_files_known, again.n_files_read) == (2, 0)


def test_two_intakes_at_the_very_same_moment_of_their_clocks(folder: Path) -> None:
    for name, n in (("a.csv", "10"), ("b.csv", "12")):
        write(folder, name, line(Exam="E-1", Valid=n))
        run_intake(folder, key=KEY, known_at=NOW)
    assert valid(folder) == valid(folder, NOW) == [12]


def test_programs_that_start_together_take_turns_and_read_every_file_once(tmp_path: Path) -> None:
    """Nobody has made the warehouse yet, so they also meet over making it."""
    calm = make_wide_network(tmp_path / "calm", files_each=1, n_rows=5, n_sites=3)
    folder = shutil.copytree(calm, tmp_path / "together")
    run_calm(calm, "intake", start=warm_child)
    with ExitStack() as stack:
        children = [
            stack.enter_context(warm_child(folder, "intake", "--wait", "60")) for _ in range(3)
        ]
        said = [child.output.read() for child in children]
        codes = {child.wait() for child in children}
    assert codes <= {0, 13}, said
    with open_warehouse(folder / "warehouse.duckdb") as warehouse:
        assert assert_whole_files(warehouse) == 3
    assert contents(folder) == contents(calm)
