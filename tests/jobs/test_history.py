"""What was known when: a file, a correction, a cancellation, a withdrawal, a closed month."""

import json
import shutil
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from qa.cli import main
from qa.jobs.close import run_close
from qa.jobs.export import run_export
from qa.jobs.intake import run_intake
from qa.jobs.refresh import run_refresh
from qa.jobs.status import find_status, status_lines
from qa.jobs.withdraw import run_withdraw
from qa.model.errors import WrongUse
from qa.stores.settings import NetworkFolder
from qa.stores.snapshots import current_snapshot_id, open_current, open_snapshot
from qa.stores.warehouse import open_warehouse
from tests.jobs.test_intake import FAULTS, KEY, line, write

MONDAY = datetime(2026, 4, 6, 8, tzinfo=UTC)
MARCH = date(2026, 3, 1)
TUESDAY, WEDNESDAY, THURSDAY, FRIDAY, LATER = (MONDAY + timedelta(days=n) for n in range(1, 6))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "network"
    shutil.copytree(FAULTS / "network", place)
    profile = place / "profiles" / "plain.toml"
    text = profile.read_text(encoding="utf-8")
    cancelled = '[columns.source_status]\nheadings = ["Status"]\nis_optional = true\n'
    profile.write_text(text + cancelled, encoding="utf-8")
    return place


def send(folder: Path, name: str, *lines: str, at: datetime) -> Path:
    path = write(folder, name, *lines)
    run_intake(folder, key=KEY, known_at=at)
    return path


def cancel(folder: Path, name: str, *lines: str, at: datetime) -> None:
    """The same rows with a column that says they are cancelled."""
    path = write(folder, name, *lines)
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    text = "\n".join([head + ",Status", *(row + ",cancelled" for row in rows)])
    path.write_text(text + "\n", encoding="utf-8")
    run_intake(folder, key=KEY, known_at=at)


def refresh(folder: Path, at: datetime, **more: Any):
    return run_refresh(folder, at=at, by="test", software_version="1", **more)


def valid_by_row(folder: Path, moment: datetime | None = None) -> list[int]:
    """Valid measurements of the current exams, which tell the story's versions apart."""
    with open_warehouse(NetworkFolder(folder).warehouse, as_known_at=moment) as warehouse:
        return sorted(warehouse.current_exams()["n_valid"].to_list())


@pytest.fixture
def story(folder: Path) -> Path:
    """Monday: three exams. Tuesday: the first is corrected. Wednesday: the second is cancelled.
    Thursday: the correction's file is withdrawn."""
    rows = [line(Exam=f"E-{n}", Valid=str(n)) for n in (8, 9, 10)]
    send(folder, "a.csv", *rows, at=MONDAY)
    send(folder, "b.csv", line(Exam="E-8", Valid="12"), at=TUESDAY)
    cancel(folder, "c.csv", line(Exam="E-9", Valid="9"), at=WEDNESDAY)
    run_withdraw(folder, file="b.csv", reason="sent by mistake", by="lead", at=THURSDAY)
    return folder


@pytest.mark.parametrize(
    ("moment", "expected"),
    [
        (MONDAY - timedelta(microseconds=1), []),
        (MONDAY, [8, 9, 10]),
        (TUESDAY - timedelta(microseconds=1), [8, 9, 10]),
        (TUESDAY, [9, 10, 12]),
        (WEDNESDAY, [10, 12]),
        (THURSDAY - timedelta(microseconds=1), [10, 12]),
        (THURSDAY, [8, 10]),
        (None, [8, 10]),
    ],
)
def test_each_moment_gives_what_was_known_then(
    story: Path, moment: datetime | None, expected: list[int]
):
    assert valid_by_row(story, moment) == expected


@pytest.mark.parametrize(
    ("moment", "expected"), [(MONDAY, [8, 9, 10]), (WEDNESDAY, [10, 12]), (FRIDAY, [8, 10])]
)
def test_export_as_known_then_judges_what_was_known(
    story: Path, tmp_path: Path, moment: datetime, expected: list[int]
):
    out = tmp_path / "exams.parquet"
    run_export(story, what="exams", out=out, as_known_at=moment)
    exams = pl.read_parquet(out)
    assert sorted(exams["n_valid"].to_list()) == expected
    assert exams["outcome"].null_count() == 0
    run_export(story, what="counts", out=out, as_known_at=moment)
    assert pl.read_parquet(out)["n_exams"].sum() == len(expected)


def test_export_as_known_before_anything_has_the_columns_and_no_rows(story: Path, tmp_path: Path):
    for what in ("exams", "counts", "measures", "signals", "intake", "quarantine"):
        out = tmp_path / f"{what}.parquet"
        report = run_export(story, what=what, out=out, as_known_at=MONDAY - timedelta(days=1))
        assert report.n_rows == 0


def test_refresh_as_known_then_stays_beside_what_is_published(story: Path):
    refresh(story, FRIDAY)
    published = current_snapshot_id(NetworkFolder(story).snapshots)
    past = refresh(story, FRIDAY, as_known_at=TUESDAY)
    assert past.snapshot_id.startswith("K20260407T080000Z")
    assert current_snapshot_id(NetworkFolder(story).snapshots) == published
    snapshot = open_snapshot(story, past.snapshot_id)
    assert sorted(snapshot.frame("exams")["n_valid"].to_list()) == [9, 10, 12]
    snapshot.close()
    assert not refresh(story, LATER, as_known_at=TUESDAY).is_new_snapshot
    assert not refresh(story, FRIDAY).is_new_snapshot
    with open_warehouse(NetworkFolder(story).warehouse) as warehouse:
        assert warehouse._con.sql("SELECT count(*) FROM refreshes").fetchall() == [(1,)]


def test_status_as_known_then(story: Path):
    refresh(story, FRIDAY)
    then = find_status(story, at=LATER, as_known_at=TUESDAY)
    now = find_status(story, at=LATER)
    assert (then.n_exams, then.snapshot_id, then.n_withdrawn_files) == (3, None, 0)
    assert (now.n_exams, now.n_withdrawn_files) == (2, 1)
    assert now.snapshot_id is not None
    assert sum(site.n_cancelled for site in now.sites) == 1
    assert "As known at 2026-04-07 08:00 UTC." in status_lines(then)


def test_cancelled_exam_leaves_the_figures_and_keeps_its_trace(story: Path):
    with open_warehouse(NetworkFolder(story).warehouse) as warehouse:
        rows = warehouse._con.sql(
            "SELECT version_no, is_retracted, source_status FROM exams WHERE exam_key IN "
            "(SELECT exam_key FROM exams WHERE is_retracted) ORDER BY version_no"
        ).fetchall()
    assert rows == [(1, False, None), (2, True, "cancelled")]


def test_withdrawal_falls_back_to_a_file_that_held_the_row_unchanged(folder: Path):
    send(folder, "a.csv", line(Exam="E-1"), line(Exam="E-2"), at=MONDAY)
    send(folder, "b.csv", line(Exam="E-2"), at=TUESDAY)
    report = run_withdraw(folder, file="a.csv", reason="wrong", by=None, at=WEDNESDAY)
    assert (report.n_held, report.n_stand_before, report.n_stand_now) == (2, 2, 1)
    run_withdraw(folder, file="b.csv", reason="wrong too", by=None, at=THURSDAY)
    assert valid_by_row(folder) == []


def test_withdrawn_exam_may_come_again_and_a_withdrawal_be_undone(folder: Path):
    send(folder, "a.csv", line(Exam="E-1", Valid="10"), at=MONDAY)
    run_withdraw(folder, file="a.csv", reason="wrong", by=None, at=TUESDAY)
    run_intake(folder, key=KEY, known_at=TUESDAY)
    assert valid_by_row(folder) == []
    send(folder, "b.csv", line(Exam="E-1", Valid="10"), line(Exam="E-2"), at=WEDNESDAY)
    assert valid_by_row(folder) == [10, 10]
    run_withdraw(folder, file="b.csv", reason="wrong", by=None, at=THURSDAY)
    run_withdraw(folder, file="a.csv", reason="right", by=None, at=FRIDAY, is_undone=True)
    assert valid_by_row(folder) == [10]


def test_withdrawn_file_is_not_read_again_by_a_mended_profile(folder: Path):
    send(folder, "a.csv", line(Exam="E-1"), at=MONDAY)
    run_withdraw(folder, file="a.csv", reason="wrong", by=None, at=TUESDAY)
    profile = folder / "profiles" / "plain.toml"
    profile.write_text(profile.read_text().replace("version = 1", "version = 2"))
    report = run_intake(folder, key=KEY, known_at=WEDNESDAY)
    assert (report.n_files_known, report.n_files_read) == (1, 0)


def test_withdrawal_is_counted_by_the_next_refresh(story: Path):
    """Only the withdrawn file's months are counted again."""
    refresh(story, FRIDAY)
    send(story, "d.csv", line(Exam="F-1", Patient="7", Date="2026-01-05 10:00"), at=FRIDAY)
    refresh(story, FRIDAY + timedelta(hours=1))
    run_withdraw(story, file="a.csv", reason="wrong", by=None, at=LATER)
    report = refresh(story, LATER + timedelta(hours=1))
    snapshot = open_current(story)
    assert snapshot.frame("monthly_counts")["month"].to_list() == [date(2026, 1, 1)]
    snapshot.close()
    assert MARCH in report.months


@pytest.mark.parametrize(
    ("file", "reason", "code"),
    [("b.csv", "again", "USE-021"), ("a.csv", " ", "USE-020"), ("nothing.csv", "x", "USE-022")],
)
def test_withdraw_refuses_what_changes_nothing(story: Path, file: str, reason: str, code: str):
    with pytest.raises(WrongUse) as caught:
        run_withdraw(story, file=file, reason=reason, by=None, at=LATER)
    assert caught.value.code == code


def test_what_arrives_after_closing_is_a_restatement(folder: Path):
    send(folder, "a.csv", *(line(Exam=f"E-{n}", Valid=str(n)) for n in (8, 9, 10)), at=MONDAY)
    assert run_close(folder, month=MARCH, by="lead", at=TUESDAY).n_exams == 3
    send(folder, "b.csv", line(Exam="E-8", Valid="12"), line(Exam="E-11"), at=WEDNESDAY)
    cancel(folder, "c.csv", line(Exam="E-9", Valid="9"), at=THURSDAY)
    refresh(folder, FRIDAY)
    snapshot = open_current(folder)
    [row] = snapshot.frame("intake_months", site_id="harbour").to_dicts()
    snapshot.close()
    assert (row["n_came_later"], row["n_changed_later"], row["n_left_later"]) == (1, 1, 1)
    assert (row["is_closed"], row["closed_at"]) == (True, TUESDAY)
    status = find_status(folder, at=FRIDAY)
    assert status.sites[0].n_restated == 3
    assert "3 exams restated since" in "\n".join(status_lines(status))
    assert find_status(folder, at=FRIDAY, as_known_at=TUESDAY).sites[0].n_restated == 0


def test_a_restatement_taken_back_is_none(folder: Path):
    send(folder, "a.csv", line(Exam="E-1", Valid="9"), at=MONDAY)
    run_close(folder, month=MARCH, by=None, at=TUESDAY)
    send(folder, "b.csv", line(Exam="E-1", Valid="10"), at=WEDNESDAY)
    run_withdraw(folder, file="b.csv", reason="wrong", by=None, at=THURSDAY)
    assert find_status(folder, at=FRIDAY).sites[0].n_restated == 0


def test_close_refuses_a_second_time_an_empty_and_a_running_month(folder: Path):
    send(folder, "a.csv", line(Exam="E-1"), at=MONDAY)
    with pytest.raises(WrongUse, match="holds no exams"):
        run_close(folder, month=date(2026, 2, 1), by=None, at=TUESDAY)
    with pytest.raises(WrongUse, match="is not over"):
        run_close(folder, month=MARCH, by=None, at=datetime(2026, 3, 31, 12, tzinfo=UTC))
    run_close(folder, month=MARCH, by=None, at=TUESDAY)
    with pytest.raises(WrongUse, match="was closed on 2026-04-07"):
        run_close(folder, month=MARCH, by=None, at=WEDNESDAY)


def test_commands_say_what_they_did(story: Path, capsys: pytest.CaptureFixture[str]):
    place = ["--network", str(story)]
    assert main(["withdraw", "--list", *place], {}) == 0
    listed = capsys.readouterr().out.splitlines()
    assert [row.endswith("withdrawn") for row in listed] == [False, True, False]
    file_id = listed[0].split()[0]
    assert main(["withdraw", file_id, "--reason", "all wrong", *place], {}) == 0
    assert "2 are out" in capsys.readouterr().out
    assert main(["withdraw", file_id, "--undo", "--reason", "was right", *place], {}) == 0
    assert "2 of its 3 exams are in again" in capsys.readouterr().out
    assert main(["close", "2026-03", "--by", "lead", *place], {}) == 0
    assert "March 2026 is closed with 2 exams" in capsys.readouterr().out
    assert main(["status", "--json", "--as-known-at", "2026-04-07", *place], {}) == 0
    assert json.loads(capsys.readouterr().out)["n_exams"] == 3
    assert main(["refresh", "--as-known-at", "2026-04-06T12:00", *place], {}) == 0
    assert "What is published stays as it is" in capsys.readouterr().out
    with pytest.raises(SystemExit):
        main(["status", "--as-known-at", "yesterday", *place], {})
    assert "is no time" in capsys.readouterr().err
