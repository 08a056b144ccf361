"""Rows that wait: shown, sent back, read again, and recognised when they come right elsewhere."""

import csv
import json
from datetime import timedelta
from pathlib import Path

import polars as pl
import pytest

from qa.cli import main
from qa.jobs.quarantine import RetryReport, find_waiting, run_retry, trace_file, trace_lines
from qa.jobs.refresh import run_refresh
from qa.jobs.return_sheet import write_return_sheet
from qa.model.errors import WrongUse
from qa.stores.quarantine import resolutions, rows_read
from qa.stores.snapshots import open_current
from tests.jobs.test_intake import (
    KEY,
    NOW,
    PLANTED,
    change_profile,
    counts,
    folder,
    line,
    look,
    read,
    write,
)

__all__ = ["folder"]


def retry(folder: Path, *, days: int = 1, **more) -> RetryReport:
    return run_retry(folder, key=KEY, known_at=NOW + timedelta(days=days), by="manager", **more)


def mend_probe(folder: Path) -> None:
    """A newer version of the profile knows the probe's code."""
    change_profile(folder, 'S = "standard"', 'S = "standard", Q = "standard"')
    change_profile(folder, "version = 1", "version = 2")


def waiting(folder: Path) -> list[tuple[int, list[str]]]:
    frame = look(folder, lambda warehouse: warehouse.quarantined())
    return frame.select("row_no", "codes").rows()


def resolved(folder: Path) -> list[tuple]:
    frame = look(folder, resolutions)
    return frame.select("row_no", "how", "profile_id", "read_by").rows()


# Reading again


def test_retry_after_a_mended_profile_moves_rows_over_and_keeps_their_history(folder: Path):
    write(folder, "a.csv", line(), line(Exam="E-2", Probe="Q"), line(Exam="E-3", Valid="13"))
    read(folder)
    mend_probe(folder)
    report = retry(folder)
    assert (report.n_files, report.n_resolved, report.n_after) == (1, 1, 1)
    assert waiting(folder) == [(3, ["CHK-017"])]
    assert resolved(folder) == [(2, "read again", "plain.v2", "manager")]
    sql = "SELECT row_no, codes, profile_id FROM quarantined ORDER BY file_seq, row_no"
    kept = look(folder, lambda warehouse: warehouse._query(sql)).rows()
    assert kept == [
        (2, ["CHK-005"], "plain.v1"),
        (3, ["CHK-017"], "plain.v1"),
        (3, ["CHK-017"], "plain.v2"),
    ]


def test_retry_after_a_mended_register(folder: Path):
    write(folder, "a.csv", line(Operator="B"))
    read(folder)
    assert retry(folder).n_resolved == 0
    with (folder / "network.toml").open("a", encoding="utf-8") as file:
        file.write('\n[[operators]]\nid = "harbour-b"\nsite = "harbour"\ncode = "B"\n')
    assert retry(folder, days=2).n_resolved == 1
    assert resolved(folder) == [(1, "read again", "plain.v1", "manager")]


def test_retry_of_one_site_or_one_file_leaves_the_others(folder: Path):
    write(folder, "a.csv", line(Probe="Q"))
    write(folder, "b.csv", line(Exam="E-2", Probe="Q"))
    write(folder, "c.csv", line(Exam="E-3", Probe="Q"), site="lantern")
    read(folder)
    mend_probe(folder)
    [first, *_] = find_waiting(folder, site_id="harbour").files
    assert retry(folder, file_number=first.number).n_files == 1
    assert retry(folder, site_id="lantern").n_files == 1
    [left] = find_waiting(folder).files
    assert (left.name, left.site_id) == ("b.csv", "harbour")


def test_retry_of_a_file_that_was_taken_away_says_so(folder: Path):
    path = write(folder, "a.csv", line(Probe="Q"))
    read(folder)
    path.unlink()
    report = retry(folder)
    assert [file.name for file in report.lost] == ["a.csv"]
    assert (report.n_files, report.n_resolved, report.n_after) == (0, 0, 1)


def test_retry_finds_a_file_by_its_bytes_under_another_name(folder: Path):
    path = write(folder, "a.csv", line(Probe="Q"))
    read(folder)
    path.rename(path.with_name("march.csv"))
    mend_probe(folder)
    assert retry(folder).n_resolved == 1


def test_retry_of_nothing_does_nothing(folder: Path):
    write(folder, "a.csv", line())
    read(folder)
    before = (folder / "warehouse.duckdb").read_bytes()
    assert retry(folder) == RetryReport()
    assert (folder / "warehouse.duckdb").read_bytes() == before


# Rows of the future


@pytest.mark.parametrize(
    ("exam", "days", "enters"),
    [
        ("2026-11-06 08:00", 0, 0),
        ("2026-11-06 08:00", 1, 1),  # read on 5 November at 08:00 UTC, again one day later
        ("2026-11-06 08:01", 1, 0),
        ("2026-11-06", 1, 0),  # stands for noon of that day, and the day has begun
        ("2026-11-06", 2, 1),
    ],
)
def test_run_intake_future_rows_are_read_when_their_time_has_come(
    folder: Path, exam: str, days: int, enters: int
):
    write(folder, "a.csv", line(), line(Exam="E-2", Date=exam))
    first = read(folder)
    if exam == "2026-11-06":
        assert first.waiting == {"CHK-010": 1}
    report = read(folder, days=days)
    assert report.n_accepted == enters
    assert len(waiting(folder)) == 1 - enters


def test_run_intake_future_rows_do_not_make_their_file_read_every_time(folder: Path):
    write(folder, "a.csv", line(Date="2027-03-05 14:20"))
    read(folder)
    assert read(folder, days=1).n_files_read == 0
    assert read(folder, days=200).n_files_read == 1
    assert read(folder, days=201).n_files_read == 0


# Another file


def test_row_that_comes_right_in_a_later_file_waits_no_longer(folder: Path):
    write(folder, "a.csv", line(), line(Exam="E-2", Valid="13"))
    read(folder)
    write(folder, "b.csv", line(Exam="E-2"))
    read(folder, days=1, by="clerk")
    assert waiting(folder) == []
    assert resolved(folder) == [(2, "another file", "plain.v1", "clerk")]


def test_row_of_an_earlier_file_settles_nothing(folder: Path):
    write(folder, "a.csv", line(Exam="E-2"))
    read(folder)
    write(folder, "b.csv", line(Exam="E-2", Valid="13"))
    read(folder, days=1)
    assert waiting(folder) == [(1, ["CHK-017"])]


def test_row_that_a_later_file_repeats_as_it_was_known_waits_no_longer(folder: Path):
    """The correction was faulty; the next export says again what was known before."""
    write(folder, "a.csv", line(Exam="E-2"))
    read(folder)
    write(folder, "b.csv", line(Exam="E-2", Valid="13"))
    read(folder, days=1)
    write(folder, "c.csv", line(Exam="E-2"), line(Exam="E-3"))
    assert counts(read(folder, days=2)) == (1, 1, 0)
    assert waiting(folder) == []


def test_row_of_another_patient_under_the_same_number_settles_nothing(folder: Path):
    write(folder, "a.csv", line(Exam="E-2", Valid="13"))
    read(folder)
    write(folder, "b.csv", line(Exam="E-2", Patient="90210079"))
    read(folder, days=1)
    assert waiting(folder) == [(1, ["CHK-017"])]


def test_row_without_a_readable_number_is_not_recognised(folder: Path):
    write(folder, "a.csv", line(Exam=""))
    read(folder)
    write(folder, "b.csv", line(Exam="E-2"))
    read(folder, days=1)
    assert waiting(folder) == [(1, ["CHK-001"])]


def test_row_of_a_file_read_in_the_same_run_is_recognised(folder: Path):
    write(folder, "a.csv", line(Exam="E-2", Valid="13"))
    write(folder, "b.csv", line(Exam="E-2"))
    read(folder)
    assert waiting(folder) == []


def test_row_that_is_read_again_in_vain_stays_settled(folder: Path):
    write(folder, "a.csv", line(Exam="E-2", Valid="13"))
    read(folder)
    write(folder, "b.csv", line(Exam="E-2"))
    read(folder, days=1)
    change_profile(folder, "version = 1", "version = 2")
    assert counts(read(folder, days=2)) == (0, 1, 1)
    assert waiting(folder) == []


# What is shown


def test_trace_file_tells_the_whole_way_of_a_row(folder: Path):
    write(folder, "a.csv", line(Probe="Q"))
    read(folder)
    mend_probe(folder)
    retry(folder)
    [file] = look(folder, lambda warehouse: warehouse.files())["file_id"].unique().to_list()
    text = "\n".join(trace_lines(trace_file(folder, file_number=file[:8], row_no=1)))
    assert "Row 1 does not wait any more." in text
    assert "held back on 2026-11-05 08:00 UTC by plain.v1" in text
    assert "CHK-005  The profile does not know this code. Probe: found Q; expected" in text
    assert "read again on 2026-11-06 08:00 UTC by profile plain.v2 (manager)" in text


@pytest.mark.parametrize(
    ("number", "row", "code"), [("abc", None, "USE-005"), ("zzzzzz", None, "USE-005")]
)
def test_trace_file_unknown_number_is_refused(folder: Path, number: str, row, code: str):
    write(folder, "a.csv", line(Probe="Q"))
    read(folder)
    with pytest.raises(WrongUse) as caught:
        trace_file(folder, file_number=number, row_no=row)
    assert caught.value.code == code


def test_find_waiting_of_an_unknown_site_is_refused(folder: Path):
    read(folder)
    with pytest.raises(WrongUse, match="harbour, lantern"):
        find_waiting(folder, site_id="harbuor")


def test_find_waiting_refused_file_that_was_mended_is_not_shown(folder: Path):
    path = write(folder, "a.csv", line())
    path.write_bytes(b"")
    read(folder)
    assert find_waiting(folder).n_refused == 1
    write(folder, "a.csv", line())
    read(folder, days=1)
    assert find_waiting(folder).n_refused == 0


# The return sheet


def sheet(folder: Path, tmp_path: Path, ending: str = "csv") -> list[dict[str, str]]:
    out = tmp_path / f"sheet.{ending}"
    write_return_sheet(folder, site_id="harbour", out=out, at=NOW)
    with out.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def test_return_sheet_says_row_by_row_what_is_wrong(folder: Path, tmp_path: Path):
    write(folder, "march.csv", line(), line(Exam="E-2", Valid="13", Stiffness='"9,2"'))
    write(folder, "empty.csv").write_bytes(b"")
    write(folder, "other.csv", line(Probe="Q"), site="lantern")
    read(folder)
    refused, *rows = sheet(folder, tmp_path)
    assert (refused["File"], refused["Row under the headings"]) == ("empty.csv", "(the whole file)")
    assert (refused["Code"], refused["What is wrong"]) == ("INT-001", "The file is empty.")
    assert [(row["File"], row["Row under the headings"], row["Code"]) for row in rows] == [
        ("march.csv", "2", "CHK-003"),
        ("march.csv", "2", "CHK-017"),
    ]
    assert rows[0]["Column"] == "Stiffness"
    assert rows[0]["What was found"] == "9,2"
    assert rows[0]["What is expected"] == "the decimal sign '.'"
    assert rows[0]["Read on (UTC)"] == "2026-11-05 08:00"


def test_return_sheet_without_anything_has_its_headings(folder: Path, tmp_path: Path):
    write(folder, "a.csv", line())
    read(folder)
    assert sheet(folder, tmp_path) == []
    assert (tmp_path / "sheet.csv").read_text(encoding="utf-8-sig").startswith('"File","File num')


def test_return_sheet_holds_no_identifier(folder: Path, tmp_path: Path):
    write(
        folder,
        "Quillfeather 9021007.csv",
        line(Exam="E-2", Stiffness="Quillfeather"),
        line(Exam="E-3", Operator="Zebulon"),
        line(Exam="E-4", Probe="90210071"),
        line(Exam="E-5", Patient="90210075", Age="90210075"),
        line(Exam="E-6", Date="Ottoline"),
    )
    read(folder)
    rows = sheet(folder, tmp_path)
    assert len(rows) == 5
    assert not [word for word in PLANTED for row in rows if word in str(row)]
    assert rows[0]["File"].startswith("x-")


# The commands


def run(capsys: pytest.CaptureFixture[str], folder: Path, *words: str) -> tuple[int, str, str]:
    environ = {"ELASTOQA_PSEUDONYM_KEY": KEY.decode()}
    code = main(["quarantine", *words, "--network", str(folder)], environ)
    told = capsys.readouterr()
    return code, told.out, told.err


def test_quarantine_commands_in_the_order_of_their_use(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    write(folder, "a.csv", line(), line(Exam="E-2", Probe="Q"))
    read(folder)
    code, out, _ = run(capsys, folder, "list", "--site", "harbour")
    assert (code, "1 of 2 rows wait" in out) == (0, True)
    code, out, _ = run(capsys, folder, "list", "--json")
    [file] = json.loads(out)["files"]
    assert file["rows"][0]["faults"][0]["code"] == "CHK-005"
    code, out, _ = run(capsys, folder, "show", file["file_id"][:12], "--row", "2")
    assert (code, "Row 2 waits." in out) == (0, True)
    code, out, _ = run(capsys, folder, "retry", "--by", "manager")
    assert (code, "Rows that came right: 0; that wait on: 1." in out) == (13, True)
    out_file = tmp_path / "harbour.xlsx"
    code, out, _ = run(capsys, folder, "sheet", "--site", "harbour", "--out", str(out_file))
    assert (code, out_file.exists(), "rows to mend 1, refused files 0" in out) == (0, True, True)
    mend_probe(folder)
    code, out, _ = run(capsys, folder, "retry", file["file_id"][:12])
    assert (code, "Rows that came right: 1; that wait on: 0." in out) == (0, True)
    code, out, _ = run(capsys, folder, "list")
    assert "Nothing waits." in out


def test_quarantine_sheet_of_another_kind_is_refused(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    read(folder)
    words = ("sheet", "--site", "harbour", "--out", str(tmp_path / "a.pdf"))
    code, _, err = run(capsys, folder, *words)
    assert (code, "[EXP-001]" in err) == (21, True)


def test_rows_read_are_counted_for_the_newest_reading(folder: Path):
    write(folder, "a.csv", line(), line(Exam="E-2", Probe="Q"), line(Exam="E-3", Date="x"))
    read(folder)
    wanted = ["n_rows", "n_rows_quarantined"]
    assert look(folder, rows_read).select(wanted).rows() == [(3, 2)]
    mend_probe(folder)
    retry(folder)
    found = look(folder, rows_read)
    assert found.select(wanted).rows() == [(3, 1)]
    assert found["month"].to_list() == [pl.Series([NOW.date().replace(month=3, day=1)]).item()]


def test_share_quarantined_is_published_as_a_measure(folder: Path):
    write(folder, "a.csv", line(), line(Exam="E-2", Probe="Q"), line(Exam="E-3", Date="x"))
    write(folder, "b.csv", line(Exam="L-1"), site="lantern")
    read(folder)
    assert published_share(folder) == [("network", 2, 4), ("harbour", 2, 3), ("lantern", 0, 1)]
    mend_probe(folder)
    retry(folder)
    assert published_share(folder) == [("network", 1, 4), ("harbour", 1, 3), ("lantern", 0, 1)]


def published_share(folder: Path) -> list[tuple[str, int, int]]:
    run_refresh(folder, at=NOW + timedelta(days=2), by="test", software_version="0")
    snapshot = open_current(folder)
    try:
        points = snapshot.frame("chart_points", measure_id="MSR-014")
    finally:
        snapshot.close()
    return points.select("unit_id", "n_events", "n").rows()
