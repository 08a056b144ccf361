"""Every faulty file with its exact code and the exact words that the site gets: messages.toml.

The words are the specification of what a site is told. A new message is written there by hand, read
by somebody, and then made true.
"""

import tomllib
from pathlib import Path
from typing import Any

import pytest

from qa.intake.checks import SENTENCES
from qa.model.file_problems import FILE_PROBLEMS
from tests.bad_exports.make_files import MADE
from tests.bad_exports.test_bad_exports import HERE, PLANTED, network, put, read

__all__ = ["network"]

TABLE: list[dict[str, Any]] = tomllib.loads((HERE / "messages.toml").read_text("utf-8"))["file"]
GOOD = ("good.csv", "good.xlsx", "good.jsonl", "good.parquet", "good.json", "good.dcm")
ELSEWHERE = {
    "CHK-029": "needs two files: tests/jobs/test_intake.py",
    "INT-010": "a folder of no site: tests/bad_exports/test_bad_exports.py",
    "INT-011": "needs another network: tests/jobs/test_intake.py",
    "INT-012": "a file that may not be read: tests/jobs/test_intake.py",
    "INT-016": "needs two files: tests/jobs/test_intake.py",
    "INT-020": "a file too large to be kept here: tests/unit/readers/test_bounds.py",
    "INT-040": "a file that changes: tests/robust/test_odd_files.py",
    "INT-041": "a link: tests/robust/test_odd_files.py",
    "INT-042": "a pipe: tests/robust/test_odd_files.py",
    "INT-043": "a fault of ours: tests/robust/test_hostile_files.py",
    "PRF-002": "needs another network: tests/jobs/test_intake.py",
    "PRF-003": "a wrong profile: tests/jobs/test_intake.py",
}


@pytest.mark.parametrize("wanted", TABLE, ids=[one["name"] for one in TABLE])
def test_faulty_file_gives_its_code_and_its_words(network: Path, wanted: dict[str, Any]):
    put(wanted["name"], network, wanted["site"])
    assert told(network) == (wanted["code"], wanted["message"])
    stored = (network / "warehouse.duckdb").read_bytes()
    assert not [planted for planted in PLANTED if planted.encode() in stored]


def told(network: Path) -> tuple[str, str]:
    """Code and words: of the refusal, of the first row that waits, or of the flag."""
    report, exams, waiting = read(network)
    assert not report.faults
    if report.problems:
        [problem] = report.problems
        assert waiting.is_empty()
        return problem.code, problem.message
    if waiting.height:
        [codes] = waiting["codes"].unique().to_list()
        [code] = codes
        row = waiting.row(0, named=True)
        words = f"row {row['row_no']}, {row['columns'][0]}: found {row['found'][0]}; "
        return code, f"{words}expected {row['expected'][0]}. {SENTENCES[code]}"
    [code] = exams["flags"].explode().drop_nulls().to_list()
    return code, f"accepted, with the flag: {SENTENCES[code]}"


@pytest.mark.parametrize(
    ("name", "site"),
    [*zip(GOOD, ("lantern", "tower", "jetty", "quarry", "fjord", "dune"), strict=True)],
)
def test_file_without_the_fault_enters_whole(network: Path, name: str, site: str):
    """So it is the fault that is refused, and not the way in which the files are made."""
    put(name, network, site)
    report, exams, _ = read(network)
    assert report.is_clean
    assert site in exams["site_id"].to_list()


def test_corpus_has_at_least_sixty_files_each_in_the_table_once():
    names = [one["name"] for one in TABLE]
    here = {path.name for path in HERE.iterdir() if path.is_file()}
    here -= {*GOOD, "messages.toml", *(name for name in here if name.endswith(".py"))}
    assert sorted(names) == sorted(here)
    assert len(names) >= 60
    assert set(MADE) <= {*names, *GOOD}


def test_every_code_has_a_file_or_a_place():
    codes = {one["code"] for one in TABLE}
    assert codes | ELSEWHERE.keys() == {*SENTENCES, *FILE_PROBLEMS}
    assert not codes & ELSEWHERE.keys()
    for place in ELSEWHERE.values():
        assert (HERE.parent.parent / place.split(": ")[1]).exists()


def test_no_message_holds_what_was_planted():
    text = (HERE / "messages.toml").read_text("utf-8")
    assert not [word for word in PLANTED if word in text]


def test_files_are_those_that_the_program_writes():
    """But for workbooks, whose zip carries the time, and DICOM, which is compared by its length."""
    for name, make in MADE.items():
        kept, made = (HERE / name).read_bytes(), make()
        if name.endswith((".xlsx", ".dcm", ".parquet", ".gz")):
            assert abs(len(kept) - len(made)) < 200, name
        else:
            assert kept == made, name
