"""A program error shows where it happened and no value that it met."""

import os
import subprocess
import sys
from pathlib import Path

import polars as pl
import pytest

from qa.cli import READER_GONE, main
from tests.jobs.test_intake import KEY, PLANTED, folder, line, write

__all__ = ["folder"]
ENVIRON = {"ELASTOQA_PSEUDONYM_KEY": KEY.decode()}


def crash(folder: Path, monkeypatch: pytest.MonkeyPatch, where: str, fail) -> int:
    write(folder, "Quillfeather.csv", line(Stiffness="Quillfeather", Exam="9021007"))
    monkeypatch.setattr(where, fail)
    return main(["intake", "--network", str(folder)], ENVIRON)


def fail_in_polars(rows: pl.DataFrame, **_: object) -> None:
    """polars shows the values that it could not cast."""
    rows.select(pl.col("stiffness_text").cast(pl.Float64, strict=True))


def fail_with_values(rows: pl.DataFrame, **_: object) -> None:
    raise ValueError(rows["stiffness_text"].to_list())


def fail_in_a_chain(rows: pl.DataFrame, **_: object) -> None:
    try:
        raise KeyError(rows["patient_id_text"].item())
    except KeyError as problem:
        raise RuntimeError(f"bad row {rows.rows()}") from problem


@pytest.mark.parametrize("fail", [fail_in_polars, fail_with_values, fail_in_a_chain])
def test_crash_shows_no_values(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], fail
):
    assert crash(folder, monkeypatch, "qa.jobs.intake_batch.apply_checks", fail) == 1
    told = capsys.readouterr()
    assert not [word for word in PLANTED if word in told.out + told.err]
    assert "qa/jobs/intake_batch.py, line " in told.err
    assert f"in {fail.__name__}" in told.err
    assert str(folder) not in told.err


def test_crash_names_the_kinds_of_a_chain_in_their_order(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    crash(folder, monkeypatch, "qa.jobs.intake_batch.apply_checks", fail_in_a_chain)
    kinds = [line for line in capsys.readouterr().err.splitlines() if "builtins." in line]
    assert [kind.strip() for kind in kinds] == ["builtins.KeyError", "builtins.RuntimeError"]


def test_crash_of_a_file_does_not_show_its_name(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    def fail(path: Path) -> bytes:
        raise RuntimeError(path)

    crash(folder, monkeypatch, "pathlib.Path.read_bytes", fail)
    told = capsys.readouterr()
    assert "Quillfeather" not in told.out + told.err


def test_a_reader_that_has_seen_enough_is_no_program_error():
    """As in `elastoqa status | head -1`: the pipe is closed before the last line is written."""
    network = Path(__file__).parent.parent / "bad_exports" / "network"
    reader, writer = os.pipe()
    os.close(reader)
    done = subprocess.run(
        [sys.executable, "-m", "qa", "status", "--network", str(network)],
        stdout=writer,
        stderr=subprocess.PIPE,
        check=False,
    )
    os.close(writer)
    assert (done.returncode, done.stderr) == (READER_GONE, b"")
