"""No name, birth date or number of a patient, and no key, comes out anywhere.

Identities are planted in the columns where they belong, in columns where they do not, in headings,
in files that are refused and in names of files. Every command is run, and everything that it writes
or says is searched, containers opened.
"""

import base64
import json
import shutil
from pathlib import Path

import pytest

from qa.cli import main
from tests.jobs.planted_identities import PLANTED, forms_of, found_in, leaks_of

FAULTS = Path(__file__).parent.parent / "bad_exports"
KEY = "5eed" * 16
ENVIRON = {"ELASTOQA_PSEUDONYM_KEY": KEY}
HEADINGS = (
    "Exam,Name,Patient,Born,Date,Operator,Device,Technique,Probe,Done,Attempted,Valid,Stiffness,"
    "Stiffness IQR,Stiffness unit,Ratio %,Attenuation,Attenuation IQR,Attenuation unit,Fasting h,"
    "Sex,Remark"
)
GOOD = (
    'EX7734501,"Quillfeather, Ottoline",90210071,1961-07-19,2026-03-05 14:20,A,D1,TE,S,yes,12,10,'
    "9.2,1.1,kPa,12,220,14,dB/m,3,F,Zebulon called"
)
INPUTS = ("incoming", "elsewhere")


def line(**changes: str) -> str:
    parts = GOOD.replace('"Quillfeather, Ottoline"', "Quillfeather; Ottoline").split(",")
    row = dict(zip(HEADINGS.split(","), parts, strict=True))
    row |= {name.replace("_", " "): value for name, value in changes.items()}
    return ",".join(row.values())


def files() -> dict[str, str | bytes]:
    """Name → content: identities in right and wrong places."""
    good = [line(Exam=f"G{n}", Date=f"2026-0{1 + n % 9}-1{n % 9} 10:00") for n in range(30)]
    wrong = ("Quillfeather", "90210071", "1961-07-19", "19.07.1961", "EX7734502")
    columns = (
        "Patient", "Date", "Operator", "Device", "Technique", "Probe", "Done", "Attempted", "Valid",
        "Stiffness", "Stiffness_IQR", "Stiffness_unit", "Ratio_%", "Attenuation", "Fasting_h",
        "Sex", "Born",
    )  # fmt: skip
    moved = [
        line(Exam=f"W{column}{number}", **{column: text})
        for column in columns
        for number, text in enumerate(wrong)
    ]
    head = HEADINGS.replace("Remark", "Remark 90210071")
    return {
        "harbour_2026-03.csv": "\n".join([HEADINGS, GOOD, *good, *moved]),
        "Quillfeather Ottoline 1961-07-19.csv": "\n".join([HEADINGS, line(Exam="EX7734502")]),
        "90210088.csv": "\n".join([HEADINGS, line(Patient="90210088", Valid="13")]),
        "unknown_column.csv": "\n".join([head, GOOD]),
        "no_headings.csv": "\n".join([GOOD, line(Exam="EX7734502")]),
        "doubled.csv": "\n".join([HEADINGS.replace("Remark", "Name"), GOOD]),
        "quotes.csv": HEADINGS + '\n"Quillfeather,' + GOOD,
        "fields.csv": "\n".join([HEADINGS, GOOD + ",Featherquill", line(Exam="EX7734502")]),
        "encoding.csv": (HEADINGS + "\n" + GOOD).encode() + b"\xff Featherquill",
        "nul.csv": (HEADINGS + "\n" + GOOD).encode() + b"\0 Featherquill",
        "Zebulon/march.csv": "\n".join([HEADINGS, line(Exam="Z1")]),
    }


@pytest.fixture
def network(tmp_path: Path) -> Path:
    folder = tmp_path / "network"
    shutil.copytree(FAULTS / "network", folder)
    profile = folder / "profiles" / "plain.toml"
    text = profile.read_text(encoding="utf-8").replace(
        'ignore = ["Name"]', 'ignore = ["Name", "Remark"]'
    )
    text = text.replace(
        '[columns.age_years]\nheadings = ["Age"]', '[columns.birth_date]\nheadings = ["Born"]'
    )
    profile.write_text(text, encoding="utf-8")
    for name, content in files().items():
        path = folder / "incoming" / "harbour" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
    stray = folder / "incoming" / "Featherquill" / "a.csv"
    stray.parent.mkdir()
    stray.write_text("\n".join([HEADINGS, GOOD]), encoding="utf-8")
    return folder


class Console:
    """Runs commands on a network and keeps all that they say."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder, self._capsys, self.said = folder, capsys, ""

    def run(self, *words: str, ends: tuple[int, ...] = (0,)) -> str:
        code = main([*words, "--network", str(self.folder)], ENVIRON)
        told = self._capsys.readouterr()
        self.said += told.out + told.err
        assert code in ends, f"{words}: {code}\n{told.err}"
        return told.out


@pytest.fixture
def console(network: Path, capsys: pytest.CaptureFixture[str]) -> Console:
    return Console(network, capsys)


def use_everything(console: Console) -> None:
    """Every command that writes or says anything, in the order of its use."""
    folder, out = console.folder, console.folder / "outputs"
    out.mkdir()
    console.run("intake", "--by", "manager", ends=(11, 12, 13))
    console.run("status")
    console.run("status", "--json")
    console.run("refresh")
    for what in ("exams", "counts", "measures", "signals", "intake", "quarantine"):
        for ending in ("csv", "parquet"):
            console.run("export", what, "--out", str(out / f"{what}.{ending}"))
    console.run("packs", "--month", "2026-03")
    for pack in sorted(folder.glob("packs/*/*.pdf")):
        console.run("verify", str(pack))
    console.run("quarantine", "list")
    waiting = json.loads(console.run("quarantine", "list", "--json"))
    for file in waiting["files"]:
        if file["rows"]:
            console.run("quarantine", "show", file["file_id"])
    console.run("quarantine", "retry", "--by", "manager", ends=(11, 12, 13))
    for ending in ("csv", "xlsx"):
        console.run("quarantine", "sheet", "--site", "harbour", "--out", str(out / f"s.{ending}"))
    console.run("close", "2026-03")
    newest = waiting["files"][-1]["file_id"]
    console.run("withdraw", newest, "--reason", "sent by mistake", "--by", "manager")
    console.run("withdraw", "--list")
    console.run("refresh")
    console.run("status")


def test_no_identity_comes_out_of_any_command(console: Console):
    use_everything(console)
    assert found_in(console.said.encode()) == []
    assert leaks_of(console.folder, but=INPUTS) == names_of_inputs(console.folder)


def names_of_inputs(folder: Path) -> list[str]:
    """The names of the planted files themselves: they lie where the site put them."""
    return [one for one in leaks_of(folder, but=(*INPUTS, *_tops(folder))) if "incoming/" in one]


def _tops(folder: Path) -> tuple[str, ...]:
    return tuple(path.name for path in folder.iterdir())


def test_no_identity_comes_out_of_a_backup(console: Console, tmp_path: Path):
    console.run("intake", ends=(11, 12, 13))
    console.run("refresh")
    archive, copy = tmp_path / "backup.tar.zst", tmp_path / "restored"
    console.run("backup", str(archive))
    assert found_in(archive.read_bytes()) == []
    assert main(["restore", str(archive), "--into", str(copy)], ENVIRON) == 0
    assert leaks_of(copy, but=()) == []
    assert leaks_of(copy, but=(), planted=(KEY,)) == []


def test_no_identity_comes_out_of_a_proposed_profile(console: Console, tmp_path: Path):
    source = tmp_path / "new.csv"
    source.write_text("\n".join([HEADINGS, GOOD, *(line(Exam=f"G{n}") for n in range(30))]))
    words = ("profile", "suggest", str(source), "--site", "harbour")
    console.run(*words, ends=(0, 12, 13))
    console.run("profile", "check", str(source), "--site", "harbour", ends=(0, 12, 13))
    assert found_in(console.said.encode()) == []


def test_no_identity_comes_out_of_a_crash(console: Console, monkeypatch: pytest.MonkeyPatch):
    def fail(rows, **_: object):
        raise RuntimeError(rows.rows())

    monkeypatch.setattr("qa.jobs.intake_batch.apply_checks", fail)
    console.run("intake", ends=(1,))
    assert "RuntimeError" in console.said
    assert found_in(console.said.encode()) == []
    assert leaks_of(console.folder, but=INPUTS) == names_of_inputs(console.folder)


def test_key_comes_out_nowhere_but_where_it_was_asked_for(console: Console, tmp_path: Path):
    use_everything(console)
    archive, copy = tmp_path / "backup.tar.zst", tmp_path / "restored"
    console.run("backup", str(archive), "--with-key")
    assert found_in(console.said.encode(), (KEY,)) == []
    assert leaks_of(console.folder, but=INPUTS, planted=(KEY,)) == []
    assert main(["restore", str(archive), "--into", str(copy)], ENVIRON) == 0
    assert {one.split(":")[0] for one in leaks_of(copy, but=(), planted=(KEY,))} == {
        ".pseudonym_key"
    }


def test_lost_or_changed_key_is_noticed_before_anything_is_written(
    console: Console, capsys: pytest.CaptureFixture[str]
):
    console.run("intake", ends=(11, 12, 13))
    before = (console.folder / "warehouse.duckdb").read_bytes()
    new = console.folder / "incoming" / "harbour" / "new.csv"
    new.write_text("\n".join([HEADINGS, line(Exam="N1")]), encoding="utf-8")
    for environ, code in (({}, "KEY-002"), ({"ELASTOQA_PSEUDONYM_KEY": "ab" * 32}, "KEY-004")):
        for words in (["intake"], ["quarantine", "retry"], ["forget", "--patient", "90210071"]):
            assert main([*words, "--network", str(console.folder)], environ) == 19
            assert f"[{code}]" in capsys.readouterr().err
    assert (console.folder / "warehouse.duckdb").read_bytes() == before


@pytest.mark.parametrize("form", forms_of("x"))
def test_search_finds_every_form(form: str):
    """A search that finds nothing would pass every test above."""
    for text in PLANTED:
        assert any(form in one for one in found_in(b"ab" + forms_of(text)[form] + b"c", (text,)))


@pytest.mark.parametrize("before", [b"", b"a", b"ab", b"abc"])
def test_search_finds_base64_wherever_it_begins(before: bytes):
    content = base64.b64encode(before + b"Quillfeather" + b"xyz")
    assert any("Base64" in one for one in found_in(content, ("Quillfeather",)))


def test_search_finds_what_was_planted_in_the_inputs(network: Path):
    found = leaks_of(network, but=())
    assert {text for text in PLANTED for one in found if f"{text} (plain)" in one} >= {
        "Quillfeather", "Ottoline", "Zebulon", "Featherquill", "90210071", "90210088",
        "EX7734501", "EX7734502", "1961-07-19", "19.07.1961",
    }  # fmt: skip
