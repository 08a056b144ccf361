"""Intake of a whole folder: real files, a real warehouse, in a temporary folder."""

import shutil
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from qa.jobs.intake import IntakeReport, run_intake
from qa.model.errors import KeyMissing, WarehouseError
from qa.readers.bounds import MAX_FILE_BYTES
from qa.stores.warehouse import Warehouse, open_warehouse
from qa.stores.warehouse_append import FileAppender
from tests.unit.readers.writers import PEOPLE_AND_THINGS, attenuation, bundle, report, stiffness

FAULTS = Path(__file__).parent.parent / "bad_exports"
KEY = b"0f" * 32
NOW = datetime(2026, 11, 5, 8, 0, tzinfo=UTC)
HEADINGS = (FAULTS / "headings_only.csv").read_text(encoding="utf-8").strip()
GOOD = (FAULTS / "good.csv").read_text(encoding="utf-8").splitlines()[1]
PLANTED = ("Quillfeather", "Featherquill", "Zebulon", "Ottoline", "9021007")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copytree(FAULTS / "network", tmp_path / "network")
    return tmp_path / "network"


def line(**changes: str) -> str:
    """The good row with other values, by heading (with _ for a blank)."""
    row = dict(zip(HEADINGS.split(","), GOOD.split(","), strict=True))
    row |= {name.replace("_", " "): value for name, value in changes.items()}
    return ",".join(row.values())


def write(folder: Path, name: str, *lines: str, site: str = "harbour") -> Path:
    path = folder / "incoming" / site / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join([HEADINGS, *lines]) + "\n", encoding="utf-8")
    return path


def read(folder: Path, *, days: int = 0, **more) -> IntakeReport:
    return run_intake(folder, key=KEY, known_at=NOW + timedelta(days=days), **more)


def look(folder: Path, question: Callable[[Warehouse], Any]) -> Any:
    with open_warehouse(folder / "warehouse.duckdb") as warehouse:
        return question(warehouse)


def every_version(folder: Path) -> list[tuple]:
    sql = "SELECT row_no, version_no, n_valid FROM exams ORDER BY exam_key, version_no"
    return look(folder, lambda warehouse: warehouse._con.sql(sql).fetchall())


def counts(report: IntakeReport) -> tuple[int, int, int]:
    return report.n_accepted, report.n_unchanged, report.n_quarantined


def test_run_intake_accounts_for_every_row(folder: Path):
    write(folder, "a.csv", line(), line(Exam="E-2", Valid="13"), line(Exam="E-3"))
    report = read(folder)
    assert counts(report) == (2, 0, 1)
    files = look(folder, lambda warehouse: warehouse.files())
    sums = files.select("n_rows", pl.sum_horizontal("n_accepted", "n_unchanged", "n_quarantined"))
    assert sums.row(0) == (3, 3)


def test_run_intake_every_exam_knows_where_it_came_from(folder: Path):
    path = write(folder, "a.csv", "", line())
    read(folder)
    [exam] = look(folder, lambda warehouse: warehouse.current_exams().to_dicts())
    [file] = look(folder, lambda warehouse: warehouse.files().to_dicts())
    assert (exam["row_no"], exam["profile_id"], exam["known_at"]) == (2, "plain.v1", NOW)
    assert exam["file_id"] == file["file_id"]
    assert (file["name"], file["site_id"], file["state"]) == (path.name, "harbour", "read")
    assert file["n_dropped_columns"] == 1


def test_run_intake_twice_changes_nothing(folder: Path):
    write(folder, "a.csv", line(), line(Exam="E-2", Valid="13"))
    read(folder)
    before = (folder / "warehouse.duckdb").read_bytes()
    report = read(folder, days=1)
    assert (report.n_files_known, report.n_files_read, report.is_clean) == (1, 0, True)
    assert (folder / "warehouse.duckdb").read_bytes() == before


def test_run_intake_same_rows_in_another_file_are_unchanged(folder: Path):
    write(folder, "a.csv", line())
    read(folder)
    write(folder, "b.csv", line(), line(Exam="E-2"))
    assert counts(read(folder)) == (1, 1, 0)


def test_run_intake_corrected_row_adds_a_version_and_keeps_the_old(folder: Path):
    write(folder, "a.csv", line())
    read(folder)
    write(folder, "b.csv", line(Valid="11"))
    assert counts(read(folder, days=1)) == (1, 0, 0)
    assert every_version(folder) == [(1, 1, 10), (1, 2, 11)]
    assert look(folder, lambda warehouse: warehouse.current_exams())["n_valid"].to_list() == [11]


def test_run_intake_versions_within_one_run_follow_the_names(folder: Path):
    """ "march corrected" comes after "march", although a blank sorts before a dot."""
    write(folder, "march corrected.csv", line(Valid="11"))
    write(folder, "march.csv", line())
    assert counts(read(folder)) == (2, 0, 0)
    assert every_version(folder) == [(1, 1, 10), (1, 2, 11)]


def change_profile(folder: Path, old: str, new: str) -> None:
    path = folder / "profiles" / "plain.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_run_intake_mended_profile_lets_waiting_rows_in(folder: Path):
    write(folder, "a.csv", line(), line(Exam="E-2", Probe="Q"))
    assert counts(read(folder)) == (1, 0, 1)
    change_profile(folder, 'S = "standard"', 'S = "standard", Q = "standard"')
    assert counts(read(folder, days=1)) == (1, 1, 0)
    assert look(folder, lambda warehouse: warehouse.quarantined()).is_empty()


def test_run_intake_mended_network_lets_waiting_rows_in(folder: Path):
    write(folder, "a.csv", line(Operator="B"))
    assert read(folder).waiting == {"CHK-012": 1}
    with (folder / "network.toml").open("a", encoding="utf-8") as file:
        file.write('\n[[operators]]\nid = "harbour-b"\nsite = "harbour"\ncode = "B"\n')
    assert counts(read(folder, days=1)) == (1, 0, 0)


def test_run_intake_old_file_read_again_does_not_undo_a_correction(folder: Path):
    write(folder, "a.csv", line(), line(Exam="E-2", Probe="Q"))
    read(folder)
    write(folder, "b.csv", line(Valid="11"))
    read(folder, days=1)
    (folder / "incoming/harbour/b.csv").unlink()
    change_profile(folder, 'S = "standard"', 'S = "standard", Q = "standard"')
    assert counts(read(folder, days=2)) == (1, 1, 0)
    exams = look(folder, lambda warehouse: warehouse.current_exams())
    assert sorted(exams["n_valid"].to_list()) == [10, 11]


def test_run_intake_refused_file_is_tried_again_and_noted_once(folder: Path):
    write(folder, "a.csv", line())
    change_profile(folder, 'headings = ["Age"]', 'headings = ["Years"]')
    for day in (0, 1):
        assert [problem.code for problem in read(folder, days=day).problems] == ["INT-013"]
    assert look(folder, lambda warehouse: warehouse.files())["state"].to_list() == ["refused"]
    change_profile(folder, 'headings = ["Years"]', 'headings = ["Age"]')
    assert counts(read(folder, days=2)) == (1, 0, 0)
    states = look(folder, lambda warehouse: warehouse.files())["state"].to_list()
    assert states == ["refused", "read"]


def test_run_intake_same_faulty_bytes_from_two_sites_are_two_entries(folder: Path):
    for site in ("harbour", "lantern"):
        write(folder, "empty.csv", site=site).write_bytes(b"")
    assert [problem.code for problem in read(folder).problems] == ["INT-001", "INT-001"]
    files = look(folder, lambda warehouse: warehouse.files())
    assert files["site_id"].to_list() == ["harbour", "lantern"]
    assert not files.select(pl.struct("file_id", "known_at").is_duplicated().any()).item()


def test_run_intake_copy_in_another_sites_folder_is_refused(folder: Path):
    for site in ("harbour", "lantern"):
        write(folder, "a.csv", line(), site=site)
    report = read(folder)
    assert [problem.code for problem in report.problems] == ["INT-016"]
    assert "sent by harbour" in str(report.problems[0])
    assert counts(report) == (1, 0, 0)


def test_run_intake_copy_in_the_same_folder_is_known(folder: Path):
    write(folder, "a.csv", line())
    write(folder, "copy of a.csv", line())
    report = read(folder)
    assert (report.n_files_read, report.n_files_known) == (1, 1)


def test_run_intake_exam_number_used_again_waits(folder: Path):
    write(folder, "a.csv", line())
    read(folder)
    write(folder, "b.csv", line(Patient="90210079", Date="2026-04-01 10:00"))
    assert read(folder, days=1).waiting == {"CHK-029": 1}
    assert every_version(folder) == [(1, 1, 10)]


def test_run_intake_file_that_names_no_site_is_refused(folder: Path):
    change_profile(folder, '[columns.site]\nheadings = ["Clinic"]\nis_optional = true\n', "")
    path = write(folder, "a.csv", line())
    shutil.move(path, folder / "incoming" / "a.csv")
    [problem] = read(folder).problems
    assert (problem.code, "--site" in str(problem)) == ("INT-011", True)
    assert counts(read(folder, files=[folder / "incoming/a.csv"], site_id="harbour"))[0] == 1


def test_run_intake_given_files_are_read_wherever_they_lie(folder: Path, tmp_path: Path):
    write(folder, "ignored.csv", line(Exam="E-9"))
    path = shutil.move(write(folder, "a.csv", line()), tmp_path / "a.csv")
    report = read(folder, files=[Path(path), tmp_path / "none.csv"], site_id="harbour")
    assert [problem.code for problem in report.problems] == ["INT-012"]
    assert report.n_accepted == 1


def test_run_intake_one_site_only(folder: Path):
    for site, exam in (("harbour", "E-1"), ("lantern", "E-2")):
        write(folder, "a.csv", line(Exam=exam), site=site)
    report = read(folder, site_id="lantern")
    assert report.n_files_read == 1


def test_run_intake_nothing_there_is_clean(folder: Path):
    assert read(folder).is_clean


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [('id = "plain"', 'id = "other"', "PRF-002"), ('missing = [""]', 'decimal = ";"', "PRF-003")],
)
def test_run_intake_wrong_profile_refuses_its_files(folder: Path, old: str, new: str, code: str):
    write(folder, "a.csv", line())
    change_profile(folder, old, new)
    assert [problem.code for problem in read(folder).problems] == [code]


def test_run_intake_hidden_and_half_written_files_are_left_alone(folder: Path):
    write(folder, ".a.csv", "x")
    write(folder, "~$a.csv", "x")
    report = read(folder)
    assert (report.n_files_read, report.n_files_refused) == (0, 0)


def test_run_intake_another_key_is_refused(folder: Path):
    write(folder, "a.csv", line())
    read(folder)
    with pytest.raises(KeyMissing) as caught:
        run_intake(folder, key=b"aa" * 32, known_at=NOW)
    assert caught.value.code == "KEY-004"
    assert "aaaa" not in str(caught.value)


HOLDER = (
    "import duckdb,sys; c=duckdb.connect(sys.argv[1]); print('held',flush=True); sys.stdin.read()"
)


def test_run_intake_busy_warehouse_is_said_and_nothing_is_lost(folder: Path):
    write(folder, "a.csv", line())
    read(folder)
    write(folder, "b.csv", line(Exam="E-2"))
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(folder / "warehouse.duckdb")],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(WarehouseError) as caught:
            read(folder, wait_seconds=0.1)
        assert holder.stdin is not None
        holder.stdin.close()
    assert caught.value.code == "WHS-002"
    assert counts(read(folder)) == (1, 0, 0)


def test_run_intake_tells_how_far_it_is(folder: Path):
    write(folder, "a.csv", line())
    write(folder, "b.csv", line(Exam="E-2"))
    steps: list[tuple[int, int]] = []
    read(folder, progress=lambda done, total, label: steps.append((done, total)))
    assert steps == [(0, 2), (1, 2), (2, 2)]


def test_run_intake_crash_while_writing_leaves_whole_files(
    folder: Path, monkeypatch: pytest.MonkeyPatch
):
    """The second file corrects the first, so it is a transaction of its own, and breaks off."""
    for n in (1, 2):
        write(folder, f"{n}.csv", line(Valid=f"1{n}"))
    append = FileAppender.append
    tables: list[str] = []

    def fail(self, table, rows):
        tables.append(table)
        append(self, table, rows)
        if tables.count("exams") == 2:
            raise OSError("disk full")

    with monkeypatch.context() as patched:
        patched.setattr(FileAppender, "append", fail)
        with pytest.raises(OSError, match="disk full"):
            read(folder)
    assert look(folder, lambda warehouse: warehouse.files()).height == 1
    report = read(folder, days=1)
    assert (report.n_files_known, report.n_accepted) == (1, 1)


def test_run_intake_nothing_identifying_enters(folder: Path):
    """Names and numbers of patients stand in good rows, faulty rows and wrong columns."""
    wrong = [
        line(Exam="E-2", Stiffness="Quillfeather"),
        line(Exam="E-3", Operator="Zebulon"),
        line(Exam="E-4", Probe="90210071"),
        line(Exam="E-5", Patient="90210075", Age="90210075"),
        line(Exam="E-6", Date="Ottoline"),
    ]
    write(folder, "a.csv", line(), *wrong)
    report = read(folder)
    assert counts(report) == (1, 0, 5)
    stored = b"".join(path.read_bytes() for path in folder.glob("warehouse.duckdb*"))
    told = " ".join([*map(str, report.problems), *report.waiting_lines()])
    for planted in PLANTED:
        assert planted.encode() not in stored
        assert planted not in told
    # The file's bytes may be compressed, so every table is read out too.
    cells = look(folder, every_cell)
    assert "CHK-002" in cells
    assert not any(planted in cells for planted in PLANTED)


def every_cell(warehouse: Warehouse) -> str:
    tables = warehouse._first_column("SELECT table_name FROM duckdb_tables()")
    return " ".join(str(warehouse._query(f"FROM {table}").to_dicts()) for table in tables)


def test_run_intake_refuses_a_file_that_is_too_large_before_it_is_read(folder, monkeypatch):
    huge = write(folder, "huge.csv", GOOD)
    with huge.open("r+b") as file:
        file.truncate(MAX_FILE_BYTES["csv"] + 1)
    monkeypatch.setattr(Path, "read_bytes", None)
    (problem,) = read(folder).problems
    assert problem.code == "INT-020"


def test_run_intake_reads_fhir_by_the_profile_that_comes_along(folder):
    network = folder / "network.toml"
    text = network.read_text(encoding="utf-8")
    network.write_text(text.replace('profile = "plain"', 'profile = "fhir-r4"'), encoding="utf-8")
    path = folder / "incoming" / "harbour" / "march.json"
    path.parent.mkdir(parents=True, exist_ok=True)
    people = [*PEOPLE_AND_THINGS[:1], {"resourceType": "Practitioner", "id": "u31"}]
    people[1]["identifier"] = [{"value": "A"}]
    device = {"resourceType": "Device", "id": "d1", "serialNumber": "D1"}
    path.write_bytes(bundle(*people, device, stiffness(), attenuation(), report("s1", "a1")))
    assert counts(read(folder)) == (1, 0, 0)
