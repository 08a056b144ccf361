"""elastoqa second-reading, as typed, from the draw to the agreement."""

from pathlib import Path

import polars as pl
import pytest

from qa.cli import main
from qa.jobs.followup import second_reading
from qa.jobs.followup.opening import open_record
from qa.model.permissions import Actor, Role
from tests.followup.notes import keep_account
from tests.followup.test_cases_command import folder
from tests.pages.sample_counts import LAST

__all__ = ["folder"]
SAMPLE_ID = f"31.{LAST:%Y-%m}"


def run(folder: Path, *arguments: str) -> int:
    return main(["second-reading", *arguments, "--network", str(folder)], {})


def say(folder: Path, capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert run(folder, *arguments) == 0, capsys.readouterr().err
    return capsys.readouterr().out


def test_from_draw_to_agreement(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    # A seed under which the exam that lies far out is not drawn and can be picked.
    monkeypatch.setattr(second_reading.secrets, "token_hex", lambda n: "00" * n)
    text = (folder / "network.toml").read_text().replace('"op-1"', '"31"')
    (folder / "network.toml").write_text(text, encoding="utf-8")
    assert say(folder, capsys, "list") == "No sample.\n"
    assert say(folder, capsys, "draw").startswith(f"{SAMPLE_ID}  3 of ")
    assert say(folder, capsys, "draw") == ""
    assert run(folder, "draw", "31") == 24
    assert "[FUP-050]" in capsys.readouterr().err
    key = say(folder, capsys, "pick", SAMPLE_ID).split()[0]
    told = ("--reason", "wide spread")
    assert "  wide spread  waits" in say(folder, capsys, "pick", SAMPLE_ID, key, *told)
    assert run(folder, "assign", SAMPLE_ID, "--reader", "rosa") == 24
    assert "[FUP-091]" in capsys.readouterr().err
    store = open_record(folder, environ={})
    keep_account(store, Actor("rosa", "Rosa (invented)", (Role.OPERATOR,), operator_id="32"))
    say(folder, capsys, "assign", SAMPLE_ID, "--reader", "rosa@clinic.invalid")
    assert len(say(folder, capsys, "places", SAMPLE_ID).splitlines()) == 4
    out = folder / "sheet.csv"
    say(folder, capsys, "sheet", "--out", str(out), "--by", "rosa")
    sheet = pl.read_csv(out, infer_schema=False)
    assert sheet.height == 4
    filled = sheet.with_columns(outcome=pl.lit("failed"), words=pl.lit("-"))
    filled[:3].write_csv(out)
    assert say(folder, capsys, "enter", str(out), "--by", "rosa") == "3 readings entered.\n"
    code = sheet["code"][3]
    say(folder, capsys, "read", code, "--outcome", "reliable", "--kpa", "7.1", "--by", "rosa")
    assert "drawn by chance" in say(folder, capsys, "agreement", "--operator", "31")
    assert "No exam" in say(folder, capsys, "agreement", "--since", "2030-01")
    shown = say(folder, capsys, "show", SAMPLE_ID)
    differs = next(line.split()[0] for line in shown.splitlines() if ": outcome" in line)
    told = ("--owner", "lena", "--due", "2026-12-01")
    assert "CASE-0001 is open" in say(folder, capsys, "case", SAMPLE_ID, differs, *told)
    assert "CASE-0001" in say(folder, capsys, "show", SAMPLE_ID)
    assert main(["trail", "verify", "--network", str(folder)], {}) == 0


def test_wrong_use(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(folder, "show", "op-1.2026-10") == 24
    assert run(folder, "draw", "op-none") == 24
    assert run(folder, "read", "12345678", "--outcome", "failed") == 24
    with pytest.raises(SystemExit):
        run(folder, "draw", "--month", "October")
