"""What waits, in words: reasons, refusals, and what a sheet for the site says."""

from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl

from qa.intake.steps import STEPS
from qa.model.schemas import FILES, QUARANTINED
from qa.views.waiting import HEADINGS, WHOLE_FILE, WaitingFile, return_sheet, waiting_files
from tests.unit.stores.rows import file_row, frame_of, quarantined_row

NOW = datetime(2026, 11, 5, 8, 0, tzinfo=UTC)


def file(file_id: str, *, hours: int = 0, **more: Any) -> dict:
    at = {"known_at": NOW + timedelta(hours=hours), "name": f"{file_id}.csv"}
    return file_row(file_id=file_id, site_id="harbour") | at | more


def refusal(file_id: str, text: str, **more: Any) -> dict:
    return file(file_id, state="refused", problem=text, **more)


def row(file_id: str, row_no: int, *codes: str, found: str = "x") -> dict:
    n = len(codes)
    return quarantined_row(file_id=file_id, row_no=row_no) | {
        "codes": list(codes),
        "columns": ["Stiffness"] * n,
        "found": [found] * n,
        "expected": ["a number"] * n,
    }


def shown(rows: list[dict], files: list[dict]) -> tuple[WaitingFile, ...]:
    waiting = frame_of(QUARANTINED, rows) if rows else QUARANTINED.empty()
    return waiting_files(waiting, frame_of(FILES, files) if files else FILES.empty())


def test_waiting_files_in_the_order_in_which_they_were_read():
    files = [file("b", hours=1), file("a", hours=2), file("c", hours=3)]
    found = shown([row("a", 1, "CHK-002"), row("b", 1, "CHK-002")], files)
    assert [one.file_id for one in found] == ["b", "a"]


def test_waiting_files_counts_each_row_once_for_each_code():
    rows = [row("a", 1, "CHK-002", "CHK-018", "CHK-018"), row("a", 2, "CHK-002")]
    [found] = shown(rows, [file("a")])
    assert [(code, n) for code, _, n in found.reasons] == [("CHK-002", 2), ("CHK-018", 1)]
    assert found.reasons[0][1] == "This is no number."


def test_waiting_files_a_refusal_counts_until_the_name_is_read():
    refused = refusal("a", "[INT-001] a.csv: the file is empty.")
    assert [one.problem for one in shown([], [refused])] == ["[INT-001] a.csv: the file is empty."]
    assert shown([], [refused, file("b", name="a.csv", hours=1)]) == ()
    assert len(shown([], [file("b", name="a.csv", hours=-1), refused])) == 1
    assert len(shown([], [refused, file("b", name="a.csv", site_id="lantern", hours=1)])) == 1


def test_waiting_files_of_nothing_is_nothing():
    assert shown([], []) == ()


def test_return_sheet_one_line_for_each_reason():
    sheet = return_sheet(shown([row("a", 7, "CHK-002", "CHK-018")], [file("a")]))
    assert sheet.headings == HEADINGS
    assert [line[3:] for line in sheet.rows] == [
        (7, "Stiffness", "x", "a number", "This is no number.", STEPS["CHK-002"], "CHK-002"),
        (7, "Stiffness", "x", "a number", "The value is impossible.", STEPS["CHK-018"], "CHK-018"),
    ]


def test_return_sheet_refusal_is_taken_apart():
    text = "[INT-008] a.csv, line 1: not separated by ','. Expected: several headings. Export so."
    [line] = return_sheet(shown([], [refusal("a", text)])).rows
    assert line[3:] == (
        WHOLE_FILE,
        "",
        "a.csv, line 1: not separated by ','.",
        "several headings.",
        "The fields are not separated as the profile states.",
        "Export so.",
        "INT-008",
    )


def test_return_sheet_shows_no_sign_that_nobody_sees():
    """Control characters, and those that turn the direction of a text round."""
    [line] = return_sheet(
        shown([row("a", 1, "CHK-002", found="\x01\u202ea\ufeff")], [file("a")])
    ).rows
    assert line[5] == "��a�"


def test_return_sheet_without_rows_has_headings():
    assert return_sheet(()).headings == HEADINGS
    assert pl.DataFrame(return_sheet(()).rows).is_empty()
