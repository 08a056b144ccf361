"""Commands as a site lead runs them: words, exit codes, and nothing written by halves."""

import json
import shutil
from pathlib import Path

import polars as pl
import pytest

from qa.cli import main
from qa.jobs.export import EXPORTS


@pytest.fixture
def demo(published_demo: Path, tmp_path: Path) -> Path:
    """A copy of the demo that a test may change."""
    return Path(shutil.copytree(published_demo, tmp_path / "demo"))


def run(*arguments: str) -> int:
    return main([*arguments], {})


def test_init_then_status_says_what_to_do_next(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "network"
    assert run("init", str(folder)) == 0
    assert run("status", "--network", str(folder)) == 0
    assert "Put export files under incoming/" in capsys.readouterr().out
    assert (folder / ".pseudonym_key").stat().st_mode & 0o077 == 0


def test_init_leaves_a_network_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run("init", str(tmp_path))
    before = (tmp_path / "network.toml").read_bytes()
    assert run("init", str(tmp_path)) == 10
    assert (tmp_path / "network.toml").read_bytes() == before
    assert "nothing was changed" in capsys.readouterr().err


def test_first_network_takes_in_an_exam_by_the_example_profile(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run("init", str(tmp_path))
    rows = (
        "Exam,Patient,Name,Date,Operator,Device,Probe,Valid,Attempted,Stiffness,Stiffness IQR,"
        "Attenuation,Attenuation IQR,Fasting hours\n"
        "1,77,Somebody Invented,2026-10-05 09:30,A,1,S,10,11,5.4,0.6,240,25,4\n"
    )
    (tmp_path / "incoming" / "first-site" / "october.csv").write_text(rows, encoding="utf-8")
    assert run("intake", "--network", str(tmp_path)) == 0
    assert run("refresh", "--network", str(tmp_path)) == 0
    out = tmp_path / "exams.csv"
    assert run("export", "exams", "--out", str(out), "--network", str(tmp_path)) == 0
    exam = pl.read_csv(out).row(0, named=True)
    assert (exam["outcome"], exam["site_id"], exam["month"]) == (
        "reliable",
        "first-site",
        "2026-10-01",
    )
    assert b"Somebody" not in (tmp_path / "warehouse.duckdb").read_bytes()
    assert "1 row accepted" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["status"], 10, "no network.toml here"),
        (["refresh"], 10, "no network.toml here"),
        (["packs", "--month", "2026-13"], 2, "is no month"),
        (["export", "exams", "--out", "x.xls"], 21, "a name that ends in .csv or .parquet"),
        (["export", "exams", "--out", "x.csv"], 10, "no network.toml here"),
        (["verify", "missing.pdf"], 17, "cannot be read"),
    ],
)
def test_wrong_use_is_one_line_with_its_exit_code(
    arguments: list[str],
    code: int,
    words: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(*arguments) == code
    said = capsys.readouterr().err
    assert words in said
    assert "Traceback" not in said


def test_second_demo_in_the_same_folder_keeps_the_first(
    demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    packs = {path: path.read_bytes() for path in demo.rglob("*.pdf")}
    assert run("demo", str(demo), "--no-serve") == 0
    said = capsys.readouterr().out
    assert "is kept" in said
    assert "Nothing has changed" in said
    assert {path: path.read_bytes() for path in demo.rglob("*.pdf")} == packs


def test_demo_refuses_a_folder_with_other_things(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "letter.txt").write_text("mine", encoding="utf-8")
    assert run("demo", str(tmp_path), "--no-serve") == 10
    assert "is not empty" in capsys.readouterr().err


def test_status_names_the_late_site_in_words_and_for_programs(
    published_demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("status", "--network", str(published_demo)) == 0
    assert "Merlin Court" in (said := capsys.readouterr().out)
    assert "late: October 2026 is not in" in said
    assert run("status", "--json", "--network", str(published_demo)) == 0
    status = json.loads(capsys.readouterr().out)
    late = [site["site_id"] for site in status["sites"] if site["is_late"]]
    assert late == ["merlin-court"]


@pytest.mark.parametrize("what", EXPORTS)
@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_export_writes_the_documented_columns(
    published_demo: Path, tmp_path: Path, what: str, ending: str
) -> None:
    out = tmp_path / f"{what}.{ending}"
    assert run("export", what, "--out", str(out), "--network", str(published_demo)) == 0
    frame = pl.read_csv(out) if ending == "csv" else pl.read_parquet(out)
    assert frame.columns == EXPORTS[what].names


def test_export_refuses_an_unknown_ending_and_an_impossible_place(
    published_demo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = ["--network", str(published_demo)]
    assert run("export", "exams", "--out", str(tmp_path / "x.xls"), *place) == 21
    assert run("export", "exams", "--out", str(tmp_path / "no" / "x.csv"), *place) == 21
    assert "Choose a folder that exists" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_verify_passes_on_a_pack_and_fails_on_one_byte(
    demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pack = next(demo.rglob("eider-point*.pdf"))
    assert run("verify", str(pack)) == 0
    pack.chmod(0o644)
    content = bytearray(pack.read_bytes())
    content[len(content) // 2] ^= 1
    pack.write_bytes(content)
    assert run("verify", "--quick", str(pack)) == 18
    assert "bytes were changed" in capsys.readouterr().err


def test_packs_for_an_unknown_site_or_an_empty_month_say_so(
    demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = ["--network", str(demo)]
    assert run("packs", "--month", "2026-10", "--site", "nowhere", *place) != 0
    assert "nowhere" in capsys.readouterr().err
    assert run("packs", "--month", "2019-01", *place) != 0
    assert "January 2019" in capsys.readouterr().err


def test_intake_twice_changes_nothing(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("intake", "--network", str(demo)) == 0
    assert "0 rows accepted" in capsys.readouterr().out
    assert run("refresh", "--network", str(demo)) == 0
    assert "Nothing has changed" in capsys.readouterr().out


def test_faulty_file_leaves_the_good_ones_in(
    demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (demo / "incoming" / "kelp-strand" / "broken.csv").write_bytes(b"\x00\x01\x02\x03" * 200)
    assert run("intake", "--network", str(demo)) == 11
    said = capsys.readouterr()
    assert "broken.csv" in said.err
    assert "[INT-003]" in said.err
    assert run("status", "--network", str(demo)) == 0
    assert "1 file refused" in capsys.readouterr().out


def test_lost_key_is_noticed_before_anything_is_written(
    demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (demo / ".pseudonym_key").unlink()
    assert run("intake", "--network", str(demo)) == 19
    assert "key" in capsys.readouterr().err
