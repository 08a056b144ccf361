"""Every faulty file gives its one code; the good rows beside it and of other files go in.

The files are invented and named after their fault. Names and numbers of patients in them are
planted: none may come back in a message or in the warehouse.
"""

import shutil
from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest

from qa.intake.checks import SENTENCES
from qa.jobs.intake import IntakeReport, run_intake
from qa.stores.warehouse import open_warehouse

HERE = Path(__file__).parent
KEY = b"0f" * 32
NOW = datetime(2026, 11, 5, 8, 0, tzinfo=UTC)
PLANTED = ("Quillfeather", "Featherquill", "Zebulon", "Ottoline", "9021007")

# file, where it is put, code, what the message says (all of it)
REFUSED = [
    ("empty.csv", "harbour", "INT-001", ["the file is empty"]),
    ("headings_only.csv", "harbour", "INT-002", ["no rows under the headings"]),
    ("binary.csv", "harbour", "INT-003", ["binary data"]),
    ("workbook.csv", "harbour", "INT-003", ["a workbook or zip archive"]),
    ("wrong_encoding.csv", "harbour", "INT-004", ["line 2", "utf-8"]),
    ("utf_16.csv", "harbour", "INT-004", ["UTF-16"]),
    ("too_few_fields.csv", "harbour", "INT-005", ["row 2 has 19", "21 fields"]),
    ("too_many_fields.csv", "harbour", "INT-005", ["row 1 has 22", "21 fields"]),
    ("duplicate_heading.csv", "harbour", "INT-006", ["columns 12, 13", "'Stiffness'"]),
    ("nul_bytes.csv", "harbour", "INT-007", ["line 2", "NUL"]),
    ("wrong_delimiter.csv", "harbour", "INT-008", ["not separated by ','"]),
    ("open_quote.csv", "harbour", "INT-009", ["quotation marks do not pair"]),
    ("good.csv", "atoll", "INT-010", ["is not in network.toml", "harbour, lantern"]),
    ("missing_column.csv", "harbour", "INT-013", ["'Stiffness IQR' is missing", "'Stiffnes IQR'"]),
    ("unknown_column.csv", "harbour", "INT-014", ["unknown: 'Remarks'", "`ignore`"]),
    ("no_headings.csv", "harbour", "INT-015", ["20 of 20 headings are not there"]),
]

# file, where it is put, code, column, what is shown as found, rows that wait
HELD = [
    ("missing_operator.csv", "harbour", "CHK-001", "Operator", "(empty)", [2]),
    ("not_a_number.csv", "harbour", "CHK-002", "Stiffness", "(text of 4 characters)", [2]),
    ("decimal_comma.csv", "harbour", "CHK-003", "Stiffness", "9,2", [2]),
    ("part_of_a_measurement.csv", "harbour", "CHK-004", "Valid", "10.5", [2]),
    ("unknown_code.csv", "harbour", "CHK-005", "Probe", "Q7", [2]),
    ("unreadable_date.csv", "harbour", "CHK-006", "Date", "2026-02-31 10:00", [2]),
    ("ambiguous_date.csv", "harbour", "CHK-007", "Date", "03/04/2026 14:20", [2]),
    ("skipped_hour.csv", "harbour", "CHK-008", "Date", "2026-03-29 01:30", [2]),
    ("doubled_hour.csv", "harbour", "CHK-009", "Date", "2025-10-26 01:30", [2]),
    ("exam_in_future.csv", "harbour", "CHK-010", "Date", "2027-03-05 14:20", [2]),
    ("exam_of_1974.csv", "harbour", "CHK-011", "Date", "(text of 16 characters)", [2]),
    ("unknown_operator.csv", "harbour", "CHK-012", "Operator", "Z9", [2]),
    ("unknown_device.csv", "harbour", "CHK-013", "Device", "D9", [2]),
    ("technique_not_of_device.csv", "harbour", "CHK-014", "Technique, Device", "2D-SWE, D1", [2]),
    ("row_of_unknown_site.csv", "", "CHK-015", "Clinic", "(text of 5 characters)", [2]),
    ("row_of_another_site.csv", "harbour", "CHK-016", "Clinic", "(text of 7 characters)", [2]),
    ("valid_above_attempted.csv", "harbour", "CHK-017", "Valid, Attempted", "13, 12", [2]),
    ("impossible_age.csv", "harbour", "CHK-018", "Age", "151", [2]),
    ("impossible_value.csv", "harbour", "CHK-019", "Stiffness", "920", [2]),
    ("impossible_speed.csv", "harbour", "CHK-020", "Stiffness", "9.2", [2]),
    ("impossible_attenuation.csv", "harbour", "CHK-021", "Attenuation", "2200", [2]),
    ("negative_iqr.csv", "harbour", "CHK-022", "Attenuation IQR", "-14", [2]),
    (
        "refused_but_measured.csv",
        "harbour",
        "CHK-024",
        "Done, Valid",
        "(text of 7 characters), 10",
        [2],
    ),
    ("unit_in_cell.csv", "harbour", "CHK-035", "Stiffness", "a value in m/s", [2]),
    ("unit_missing.csv", "harbour", "CHK-039", "Stiffness", "9.2", [2]),
    ("duplicate_exam.csv", "harbour", "CHK-027", "Exam", "(withheld)", [3]),
    ("contradicting_exam.csv", "harbour", "CHK-028", "Exam", "(withheld)", [2, 3]),
]

FLAGGED = [
    ("stated_ratio_apart.csv", "CHK-023"),
    ("stiffness_without_valid.csv", "CHK-025"),
    ("no_frequency.csv", "CHK-026"),
]


@pytest.fixture
def network(tmp_path: Path) -> Path:
    """A network in which the good file of another site waits."""
    folder = tmp_path / "network"
    shutil.copytree(HERE / "network", folder)
    put("good.csv", folder, "lantern")
    return folder


def put(name: str, folder: Path, site: str) -> None:
    place = folder / "incoming" / site
    place.mkdir(parents=True, exist_ok=True)
    shutil.copy(HERE / name, place / name)


def read(folder: Path) -> tuple[IntakeReport, pl.DataFrame, pl.DataFrame]:
    report = run_intake(folder, key=KEY, known_at=NOW)
    with open_warehouse(folder / "warehouse.duckdb") as warehouse:
        return report, warehouse.current_exams(), warehouse.quarantined()


@pytest.mark.parametrize(("name", "site", "code", "words"), REFUSED, ids=[r[0] for r in REFUSED])
def test_run_intake_refuses_the_whole_file(
    network: Path, name: str, site: str, code: str, words: list[str]
):
    put(name, network, site)
    report, exams, waiting = read(network)
    assert [problem.code for problem in report.problems] == [code]
    message = str(report.problems[0])
    assert message.startswith(f"[{code}] {name}")
    assert all(word in message for word in words), message
    assert not any(planted in message for planted in PLANTED)
    assert exams["site_id"].to_list() == ["lantern", "lantern"]
    assert waiting.is_empty()
    assert (report.n_files_read, report.n_files_refused, report.is_clean) == (1, 1, False)


@pytest.mark.parametrize(
    ("name", "site", "code", "column", "found", "rows"), HELD, ids=[r[0] for r in HELD]
)
def test_run_intake_holds_the_row_back(
    network: Path, name: str, site: str, code: str, column: str, found: str, rows: list[int]
):
    put(name, network, site)
    report, exams, waiting = read(network)
    assert waiting["row_no"].to_list() == rows
    for row in waiting.iter_rows(named=True):
        assert (row["codes"], row["columns"], row["found"]) == ([code], [column], [found])
        assert row["expected"][0]
    n_rows = len((HERE / name).read_text(encoding="utf-8").splitlines()) - 1
    assert report.n_accepted - 2 == n_rows - len(rows)
    assert exams.filter(site_id="lantern").height == 2
    assert (report.waiting, report.is_clean) == ({code: len(rows)}, False)
    assert SENTENCES[code] in report.waiting_lines()[0]


@pytest.mark.parametrize(("name", "code"), FLAGGED)
def test_run_intake_flags_the_row_and_lets_it_in(network: Path, name: str, code: str):
    put(name, network, "harbour")
    report, exams, _ = read(network)
    flags = exams.filter(site_id="harbour").sort("row_no")["flags"].to_list()
    assert flags == [[], [code]]
    assert report.is_clean
