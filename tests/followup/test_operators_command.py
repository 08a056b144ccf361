"""elastoqa operators, as typed, on a published list."""

from datetime import UTC, date, datetime
from pathlib import Path

import polars as pl
import pytest

from qa.cli import main
from tests.followup.test_cases_command import folder
from tests.pages.sample_published import sample_published

__all__ = ["folder"]
ENDED = date(2026, 10, 5)
TODAY = str(datetime.now(UTC).date())
NAMES = ("--given-by", "Ada (invented)", "--words", "Course")


def run(folder: Path, *arguments: str) -> int:
    return main(["operators", *arguments, "--network", str(folder)], {})


def say(folder: Path, capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert run(folder, *arguments) == 0, capsys.readouterr().err
    return capsys.readouterr().out


def test_from_training_to_exams_outside(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = (folder / "network.toml").read_text().replace('"op-1"', '"31"')
    (folder / "network.toml").write_text(text, encoding="utf-8")
    assert "no authorisation on record" in say(folder, capsys, "outside", "--from", "2026-01-01")
    say(folder, capsys, "train", "31", "--on", TODAY, *NAMES, "--by", "maria")
    for _ in range(3):
        say(folder, capsys, "observe", "31", "--on", TODAY, "--observer", "Ada (invented)")
    told = ("--technique", "TE", "--from", "2020-01-01")
    assert "1. TE, any, from 2020-01-01" in say(folder, capsys, "authorise", "31", *told)
    assert "\n31 " not in "\n" + say(folder, capsys, "outside", "--from", "2026-01-01")
    say(folder, capsys, "end", "31", "1", "--to", str(ENDED), "--why", "on leave")
    out = folder / "outside.csv"
    say(folder, capsys, "outside", "--from", "2026-10-01", "--out", str(out))
    rows = pl.read_csv(out, try_parse_dates=True, schema_overrides={"operator_id": pl.String})
    found = rows.filter(operator_id="31")["exam_key"].sort().to_list()
    after = sample_published().frame("exams", operator_id="31").filter(pl.col("exam_on") > ENDED)
    assert found == after["exam_key"].sort().to_list()
    assert found
    shown = say(folder, capsys, "show", "31")
    assert "   5  " in shown
    assert "no authorisation in force" in shown.splitlines()[-1]
    assert "no authorisation in force" in say(folder, capsys, "list", "--lacking")


def test_wrong_use(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(folder, "show", "op-none") == 24
    assert "[FUP-014]" in capsys.readouterr().err
    assert run(folder, "earlier", "op-1", "--exams", "-1", "--words", "x") == 24
    assert run(folder, "list", "--out", str(folder / "list.docx")) == 21
    with pytest.raises(SystemExit):
        run(folder, "train", "op-1", "--on", "yesterday", *NAMES)
