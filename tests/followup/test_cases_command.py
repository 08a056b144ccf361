"""elastoqa cases, as typed, from a published list to a case that waits for its check."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from qa.cli import main
from qa.stores.definitions import read_definition_texts
from qa.stores.publishing import publish_snapshot
from tests.followup.notes import AT, NETWORK_TEXT
from tests.pages.sample_published import sample_published

TODAY = datetime.now(UTC).date()


@pytest.fixture
def folder(network_folder: Path) -> Path:
    """A network whose snapshot has the sample's list and exams."""
    text = NETWORK_TEXT.replace('"north"', '"S3"')
    (network_folder / "network.toml").write_text(text, encoding="utf-8")
    publish_snapshot(
        network_folder / "snapshots",
        frames=sample_published().frames,
        network_text=text,
        definition_texts=read_definition_texts(),
        published_at=AT,
        software_version="0",
    )
    return network_folder


def run(folder: Path, *arguments: str) -> int:
    return main(["cases", *arguments, "--network", str(folder)], {})


def say(folder: Path, capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert run(folder, *arguments) == 0, capsys.readouterr().err
    return capsys.readouterr().out


def test_way_from_item_to_check(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    soon = str(TODAY + timedelta(days=14))
    told = ("--title", "Spread", "--owner", "lena", "--due", soon, "--by", "maria")
    out = say(folder, capsys, "open", "SIG-S3", *told)
    assert out == (
        f"CASE-0001 is open. Next: decide what happens to the exams concerned (lena, by {soon}).\n"
    )
    listed = say(folder, capsys, "exams", "CASE-0001", "--seen", "1").splitlines()
    assert all(line.endswith("not decided") for line in listed[:-1])
    assert run(folder, "contain", "CASE-0001", "--words", "x") == 24
    assert (
        f"{len(listed) - 1} of {len(listed) - 1} exams are not decided" in capsys.readouterr().err
    )
    decided = ("--decide", "to be repeated", "--seen", "2")
    assert "to be repeated" in say(folder, capsys, "exams", "CASE-0001", *decided)
    say(folder, capsys, "contain", "CASE-0001", "--words", "Exams are looked at again")
    cause = ("--category", "technique of the exam", "--method", "looked at single exams")
    say(folder, capsys, "cause", "CASE-0001", *cause, "--words", "Breath is not held")
    plan = ("--action", "retraining", "--step", "steadiness and breath hold", "--owner", "lena")
    plan += ("--words", "Half a day", "--due", soon, "--at-most", "12", "--min-exams", "20")
    plan += ("--check-on", str(TODAY + timedelta(days=200)))
    assert "is action planned" in say(folder, capsys, "plan", "CASE-0001", *plan)
    done = ("--on", str(TODAY), "--words", "Done at the machine")
    say(folder, capsys, "done", "CASE-0001", *done)
    assert "is not published" in say(folder, capsys, "check", "CASE-0001", "--look")
    assert run(folder, "check", "CASE-0001") == 24
    assert "[FUP-031]" in capsys.readouterr().err
    assert run(folder, "close", "CASE-0001") == 24
    assert "[FUP-032]" in capsys.readouterr().err
    shown = say(folder, capsys, "show", "CASE-0001")
    assert "MSR-001 of operator 31 at most 12.0 % in each of 3 months" in shown
    assert "   1  " in shown
    (one,) = json.loads(say(folder, capsys, "list", "--json"))
    assert (one["state"], one["is_overdue"]) == ("action done", False)


def test_stale_forged_and_unknown(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = ("--title", "T", "--owner", "lena", "--due", "2020-01-01")
    assert run(folder, "open", "SIG-forged", *told) == 24
    say(folder, capsys, "open", "--site", "S3", "--why", "a letter", *told)
    say(folder, capsys, "assign", "CASE-0001", "--owner", "ben", "--due", "2020-02-01")
    stale = ("--owner", "ada", "--due", "2020-02-01", "--seen", "1")
    assert run(folder, "assign", "CASE-0001", *stale) == 24
    assert "Owner: ben" in capsys.readouterr().err
    assert run(folder, "show", "CASE-0002") == 24
    assert "overdue" in say(folder, capsys, "list", "--overdue")
    assert "1 new reminders" in say(folder, capsys, "remind", "--by", "timer")


def test_dismiss_and_annotate(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = say(folder, capsys, "dismiss", "SIG-31", "--why", "a probe was tried", "--by", "maria")
    item, words = out.split(": ")
    assert words == "not pursued (a probe was tried).\n"
    assert "taken up" in say(folder, capsys, "dismiss", item, "--undo", "--why", "goes on")
    note = ("--day", "2026-01-05", "--what", "new staff", "--words", "Two new operators")
    assert "NOTE-0001: new staff" in say(folder, capsys, "annotate", "site", "S3", *note)
    assert run(folder, "annotate", "site", "nowhere", *note) == 24
    assert main(["trail", "verify", "--network", str(folder)], {}) == 0


def test_no_case(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert say(folder, capsys, "list") == "No case.\n"
