"""A file that was sent under the wrong site: withdrawn, moved, and read as the right site's."""

from datetime import date, datetime
from pathlib import Path

import duckdb
import pytest

from qa.jobs.close import run_close
from qa.jobs.intake import IntakeReport, run_intake
from qa.jobs.quarantine import find_waiting, run_retry, trace_file
from qa.jobs.status import find_status, status_lines
from qa.jobs.withdraw import list_files, run_withdraw
from qa.model.errors import WrongUse
from qa.stores.settings import NetworkFolder
from qa.stores.warehouse import open_warehouse
from qa.stores.warehouse_history import restatements, withdrawals
from tests.jobs.test_history import FRIDAY, LATER, MONDAY, THURSDAY, TUESDAY, WEDNESDAY
from tests.jobs.test_intake import KEY, folder, line, write

__all__ = ["folder"]

ROWS = [line(Exam=f"E-{n}", Valid=str(n)) for n in (8, 9, 10)]
WAITS = line(Exam="E-3", Valid="13")


def read(folder: Path, at: datetime) -> IntakeReport:
    return run_intake(folder, key=KEY, known_at=at)


def move(folder: Path, *, to: str) -> None:
    [path] = (folder / "incoming").rglob("a.csv")
    target = folder / "incoming" / to / "a.csv"
    target.parent.mkdir(exist_ok=True)
    path.rename(target)


def withdraw(folder: Path, at: datetime, *, file: str = "a.csv", **more) -> None:
    run_withdraw(folder, file=file, reason="wrong site", by="lead", at=at, **more)


def exams_by_site(folder: Path, moment: datetime | None = None) -> dict[str, int]:
    with open_warehouse(NetworkFolder(folder).warehouse, as_known_at=moment) as warehouse:
        return dict(warehouse.current_exams()["site_id"].value_counts().rows())


@pytest.fixture
def moved(folder: Path) -> Path:
    """Monday: read as harbour's. Tuesday: withdrawn. Wednesday: read as lantern's."""
    write(folder, "a.csv", *ROWS, WAITS)
    read(folder, MONDAY)
    run_close(folder, month=date(2026, 3, 1), by="lead", at=MONDAY)
    withdraw(folder, TUESDAY)
    move(folder, to="lantern")
    report = read(folder, WEDNESDAY)
    assert (report.is_clean, report.n_accepted, report.n_quarantined) == (False, 3, 1)
    return folder


def test_file_in_a_second_folder_is_refused_while_the_first_reading_counts(folder: Path):
    write(folder, "a.csv", *ROWS)
    read(folder, MONDAY)
    move(folder, to="lantern")
    [problem] = read(folder, TUESDAY).problems
    assert problem.code == "INT-016"
    assert "elastoqa withdraw" in problem.message
    assert exams_by_site(folder) == {"harbour": 3}


@pytest.mark.parametrize(
    ("moment", "expected"),
    [(MONDAY, {"harbour": 3}), (TUESDAY, {}), (WEDNESDAY, {"lantern": 3}), (None, {"lantern": 3})],
)
def test_each_moment_has_the_exams_where_they_were_known_to_be(
    moved: Path, moment: datetime | None, expected: dict[str, int]
):
    assert exams_by_site(moved, moment) == expected


def test_waiting_row_moves_along_and_can_be_tried_again(moved: Path):
    for _ in range(2):
        [file] = find_waiting(moved).files
        assert (file.site_id, len(file.rows)) == ("lantern", 1)
        again = run_retry(moved, key=KEY, known_at=THURSDAY, by=None)
        assert (again.n_files, again.lost, again.intake.n_files_read) == (1, [], 1)
    [trace] = trace_file(moved, file_number=file.file_id).rows
    assert [one.site_id for one in trace.held] == ["harbour", "lantern", "lantern", "lantern"]


def test_closed_month_says_who_lost_and_who_gained(moved: Path):
    with open_warehouse(NetworkFolder(moved).warehouse) as warehouse:
        rows = restatements(warehouse).rows()
    march = date(2026, 3, 1)
    assert sorted(rows) == [("harbour", march, 0, 0, 3), ("lantern", march, 3, 0, 0)]


def test_list_shows_both_readings(moved: Path):
    found = [(one.site_id, one.is_withdrawn) for one in list_files(moved)]
    assert found == [("harbour", True), ("lantern", False)]


def test_reading_again_changes_nothing_wherever_copies_lie(moved: Path):
    write(moved, "a.csv", *ROWS, WAITS)  # the copy in the wrong folder comes back
    report = read(moved, THURSDAY)
    assert (report.n_files_known, report.n_files_read, report.n_files_refused) == (2, 0, 0)
    assert exams_by_site(moved) == {"lantern": 3}


def test_undo_is_refused_while_the_file_counts_for_another_site(moved: Path):
    with pytest.raises(WrongUse, match="USE-031") as caught:
        withdraw(moved, THURSDAY, is_undone=True)
    assert "as sent by lantern" in caught.value.message
    assert exams_by_site(moved) == {"lantern": 3}


def test_second_thoughts_can_be_had_too(moved: Path):
    """It was harbour's after all."""
    withdraw(moved, THURSDAY)
    assert exams_by_site(moved) == {}
    with pytest.raises(WrongUse, match="USE-021"):
        withdraw(moved, THURSDAY)
    withdraw(moved, FRIDAY, is_undone=True, site_id="harbour")
    assert exams_by_site(moved) == {"harbour": 3}
    assert exams_by_site(moved, THURSDAY) == {}
    with pytest.raises(WrongUse, match="USE-031"):
        withdraw(moved, LATER, is_undone=True, site_id="lantern")


def test_withdrawal_of_before_sites_were_noted_gets_its_site(folder: Path):
    """A warehouse whose withdrawals have no column for the site comes forward."""
    write(folder, "a.csv", *ROWS)
    read(folder, MONDAY)
    withdraw(folder, TUESDAY)
    path = NetworkFolder(folder).warehouse
    with duckdb.connect(str(path)) as con:
        views = con.sql("SELECT view_name FROM duckdb_views() WHERE NOT internal").fetchall()
        for (name,) in views:
            con.execute(f"DROP VIEW IF EXISTS {name}")
        con.execute("ALTER TABLE withdrawals DROP COLUMN site_id")
    with open_warehouse(path) as warehouse:
        assert withdrawals(warehouse)["site_id"].to_list() == ["harbour"]
    assert exams_by_site(folder) == {}
    withdraw(folder, THURSDAY, is_undone=True)
    assert exams_by_site(folder) == {"harbour": 3}


def test_row_of_a_withdrawn_file_says_why_it_does_not_wait(folder: Path):
    write(folder, "a.csv", *ROWS, WAITS)
    read(folder, MONDAY)
    withdraw(folder, TUESDAY)
    [file] = list_files(folder)
    trace = trace_file(folder, file_number=file.file_id)
    assert [(one.is_waiting, one.resolved) for one in trace.rows] == [
        (False, "its file is withdrawn")
    ]
    withdraw(folder, WEDNESDAY, is_undone=True)
    assert [one.is_waiting for one in trace_file(folder, file_number=file.file_id).rows] == [True]


def test_moment_before_anything_was_read_says_so(folder: Path):
    write(folder, "a.csv", *ROWS)
    read(folder, TUESDAY)
    told = status_lines(find_status(folder, at=FRIDAY, as_known_at=MONDAY))
    assert told[1:] == [
        "As known at 2026-04-06 08:00 UTC.",
        "Nothing was known then: the first file was read later.",
    ]
