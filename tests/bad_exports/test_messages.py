"""Every faulty file with its exact code and what the site must be told: messages.toml.

Place, what was found, what was expected and what to do are written there from the faulty file and
the rule that it breaks, not from what the program says.
"""

import tomllib
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from qa.intake.checks import SENTENCES
from qa.intake.steps import STEPS
from qa.model.file_problems import FILE_PROBLEMS
from qa.views.waiting import waiting_row
from tests.bad_exports.make_files import MADE
from tests.bad_exports.test_bad_exports import HERE, PLANTED, network, put, read

__all__ = ["network"]

PARTS = ("place", "found", "expected", "todo")
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
def test_faulty_file_gives_its_code_and_tells_what_a_site_needs(network: Path, wanted: dict):
    put(wanted["name"], network, wanted["site"])
    code, told = told_by(network)
    assert code == wanted["code"]
    for part in PARTS:
        assert not [word for word in wanted[part] if word not in told[part]], (part, told)
    assert bool(told.get("flag")) == wanted.get("flag", False)
    stored = (network / "warehouse.duckdb").read_bytes()
    assert not [planted for planted in PLANTED if planted.encode() in stored]


def told_by(network: Path) -> tuple[str, dict[str, str]]:
    """Code and words: of the refusal, of the first row that waits, or of the flag."""
    report, exams, waiting = read(network)
    assert not report.faults
    if report.problems:
        [problem] = report.problems
        assert waiting.is_empty()
        return problem.code, dict.fromkeys(PARTS, problem.message)
    if waiting.height:
        [codes] = waiting["codes"].unique().to_list()
        [code] = codes
        [fault] = waiting_row(waiting.row(0, named=True)).faults
        place = f"row {waiting['row_no'][0]}, {fault.column}"
        words = (place, fault.found, fault.expected, fault.step)
        return code, dict(zip(PARTS, words, strict=True))
    [flagged] = exams.filter(pl.col("flags").list.len() > 0).to_dicts()
    [code] = flagged["flags"]
    words = (f"row {flagged['row_no']}", SENTENCES[code], SENTENCES[code], STEPS[code])
    return code, dict(zip(PARTS, words, strict=True)) | {"flag": "true"}


def test_every_check_says_what_to_do():
    assert STEPS.keys() == SENTENCES.keys()


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
