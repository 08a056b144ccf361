"""profile suggest and profile check, on files and through the command line.

The trial is the open survey's file (../shared/open-data), whose headings no dictionary here knows:
tests/survey_network/profiles/survey.toml was written by hand from the survey's codebook and says
what is right.
"""

import gzip
import io
import os
import shutil
from datetime import UTC, date, datetime
from pathlib import Path

import openpyxl
import pytest

from qa.cli import main
from qa.intake import code_words, heading_words
from qa.jobs.profile import SuggestedProfile, run_profile_suggest
from qa.jobs.profile_preview import Preview, run_profile_check
from qa.jobs.status import find_status
from qa.model.errors import ProfileError, SourceFileError, WrongUse
from qa.model.parsing import parse_profile
from qa.stores.key import create_key
from tests.unit.intake.exports_to_suggest import ENGLISH
from tests.unit.readers.writers import (
    ELASTICITY,
    PEOPLE_AND_THINGS,
    bundle,
    dicom_report,
    median,
    stiffness,
    write_xlsx,
)

ROOT = Path(__file__).parents[2]
SURVEY = ROOT.parent / "shared" / "open-data" / "us_survey_2017_2018.csv"
BAD_EXPORTS = ROOT / "tests" / "bad_exports"
KEY = b"0f" * 32
NOW = datetime(2026, 11, 5, 8, 0, tzinfo=UTC)
needs_survey = pytest.mark.skipif(
    not SURVEY.exists(), reason="the open survey's file (../shared/open-data) is not here"
)


@pytest.fixture
def network(tmp_path: Path) -> Path:
    folder = tmp_path / "network"
    shutil.copytree(BAD_EXPORTS / "network", folder)
    return folder


def suggest(folder: Path, file: Path, site: str | None = "harbour") -> SuggestedProfile:
    return run_profile_suggest(folder, file=file, site_id=site)


def check(folder: Path, file: Path, site: str | None = "harbour", **more) -> Preview:
    return run_profile_check(folder, file=file, site_id=site, key=KEY, known_at=NOW, **more)


def everything(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def by_hand() -> dict[str, tuple[str, ...]]:
    text = (ROOT / "tests" / "survey_network" / "profiles" / "survey.toml").read_text()
    return {one.target: one.headings for one in parse_profile(text, where="survey").columns}


def trial(folder: Path) -> SuggestedProfile:
    """The survey's file before a network that has no profile yet."""
    shutil.copytree(ROOT / "tests" / "survey_network", folder, dirs_exist_ok=True)
    shutil.rmtree(folder / "profiles")
    return suggest(folder, SURVEY, None)


@needs_survey
def test_suggest_places_sixteen_of_the_surveys_columns_and_none_wrong(tmp_path: Path):
    right = by_hand()
    assert len(right) == 23
    placed = trial(tmp_path / "network").suggestion.placed
    found = {one.target: (one.heading,) if one.heading else () for one in placed}
    assert len(found) == 16
    assert found == {target: right[target] for target in found}
    units = {one.target: one.unit for one in placed if one.unit}
    assert units == {"stiffness": "kPa", "attenuation": "dB/m"}


def test_readme_and_developers_say_what_suggest_placed():
    for name in ("README.md", "DEVELOPERS.md"):
        text = " ".join((ROOT / name).read_text(encoding="utf-8").split())
        assert "16 of the 23 tables" in text
        assert {one for one in by_hand() if f"`{one}`" in text} >= LEFT_TO_A_PERSON


LEFT_TO_A_PERSON = {
    "patient_id", "site", "probe", "performed", "not_performed_reason", "fasting_kept", "exam_at",
}  # fmt: skip


@needs_survey
def test_suggest_says_of_the_survey_what_is_left_to_a_person(tmp_path: Path):
    suggestion = trial(tmp_path / "network").suggestion
    left = set(by_hand()) - {one.target for one in suggestion.placed}
    assert left == LEFT_TO_A_PERSON
    asked = [question.split()[0] for question in suggestion.questions]
    assert asked == ["patient_id", "exam_at"]
    text = trial(tmp_path / "again").text
    assert '# headings = ["SEQN"]' in text
    assert '# codes = { "" = "standard" }  # words: standard, large-patient' in text
    unplaced = {heading for heading, _ in suggestion.unplaced}
    assert {"LUAPNME", "LUAXSTAT", "LUARXND", "LUARXNC", "RIDEXMON", "SDMVSTRA"} <= unplaced


@needs_survey
def test_suggest_and_seven_hand_edits_take_in_the_whole_survey(tmp_path: Path):
    """What a newcomer has to write: the seven tables that are left, as survey.toml has them."""
    folder = tmp_path / "network"
    text = trial(folder).text
    hand = (ROOT / "tests" / "survey_network" / "profiles" / "survey.toml").read_text()
    left = set(by_hand()) - {one.target for one in parse_profile(text, where="p").columns}
    for block in hand.split("\n[columns.")[1:]:
        if block.split("]")[0].split(".")[0] in left:
            text += f"\n[columns.{block}\n"
    (tmp_path / "mended.toml").write_text(text, encoding="utf-8")
    preview = check(folder, SURVEY, None, profile_file=tmp_path / "mended.toml")
    assert (preview.n_accepted, preview.n_quarantined) == (6401, 0)
    assert (preview.first_day, preview.last_day) == (date(2017, 11, 1), date(2018, 5, 1))
    assert preview.units == {"kPa": 5950, "dB/m": 5948}


@needs_survey
def test_no_dictionary_knows_a_variable_of_the_survey():
    names = SURVEY.read_text(encoding="utf-8").splitlines()[0].casefold().split(",")
    texts = [Path(str(module.__file__)) for module in (heading_words, code_words)]
    words = " ".join(path.read_text(encoding="utf-8").casefold() for path in texts)
    assert [name for name in names if name in words] == []
    assert '"xl"' not in words


def test_suggest_then_check_of_an_export_that_needs_no_edit(network: Path, tmp_path: Path):
    """Headings of the trade and codes of network.toml are enough."""
    (network / "network.toml").write_text(
        (network / "network.toml").read_text()
        + '\n[[operators]]\nid = "b"\nsite = "harbour"\ncode = "B"\n'
        + '\n[[operators]]\nid = "c"\nsite = "harbour"\ncode = "C"\n'
    )
    text = ENGLISH.text.replace("Machine", "Machine,Method").replace(",D1,", ",D1,TE,")
    file = tmp_path / "export.csv.gz"
    file.write_bytes(gzip.compress(text.replace(",D2,", ",D2,2D-SWE,").encode()))
    found = suggest(network, file)
    (tmp_path / "p.toml").write_text(found.text, encoding="utf-8")
    preview = check(network, file, profile_file=tmp_path / "p.toml")
    # Three of its exams are said to be declined and have measurements.
    assert (preview.n_rows, preview.n_accepted, preview.waiting) == (24, 21, {"CHK-024": 3})
    assert preview.first_rows.height == 5
    assert preview.units == {"kPa": 21, "dB/m": 21}
    assert found.text.splitlines()[2:4] == ['id = "plain"', "version = 2"]


def test_suggest_gives_a_profile_of_the_program_no_next_version(network: Path, tmp_path: Path):
    """It serves every site that sends the format; one site's tables get a profile of their own."""
    file = tmp_path / "export.csv"
    file.write_text(ENGLISH.text)
    found = suggest(network, file, site="fjord")
    assert found.text.splitlines()[2:4] == ['id = "fjord"', "version = 1"]


def test_suggest_finds_the_headings_of_a_workbook(network: Path, tmp_path: Path):
    lines = [line.split(",") for line in (BAD_EXPORTS / "good.csv").read_text().splitlines()]
    file = tmp_path / "export.xlsx"
    file.write_bytes(write_xlsx(lines[0], lines[1:], top=4))
    found = suggest(network, file)
    profile = parse_profile(found.text, where="p")
    assert (profile.format, profile.header_row) == ("xlsx", 4)
    mapped = {one.target: one.headings for one in profile.columns}
    assert mapped["exam_id"] == ("Exam",)
    assert mapped["stiffness_iqr"] == ("Stiffness IQR",)
    assert "Name" in profile.ignore


def test_suggest_finds_the_sheet_of_a_workbook(network: Path, tmp_path: Path):
    lines = [line.split(",") for line in (BAD_EXPORTS / "good.csv").read_text().splitlines()]
    book = openpyxl.load_workbook(io.BytesIO(write_xlsx(lines[0], lines[1:], top=2)))
    front = book.create_sheet("Legend", 0)
    front["A1"], front["A2"] = "Invented clinic", "Probe S is the standard one"
    file = tmp_path / "export.xlsx"
    book.save(file)
    profile = parse_profile(suggest(network, file).text, where="p")
    assert (profile.sheet, profile.header_row) == ("Exams", 2)
    assert profile.column("exam_id") is not None


@pytest.mark.parametrize(
    ("content", "profile_id"),
    [
        (lambda: bundle(*PEOPLE_AND_THINGS, stiffness()), "fhir-r4"),
        (lambda: dicom_report(median(ELASTICITY, "9.2", "kPa")), "dicom-sr"),
    ],
    ids=["fhir", "dicom"],
)
def test_suggest_names_the_profile_that_comes_with_the_program(
    network: Path, tmp_path: Path, content, profile_id: str
):
    file = tmp_path / "export"
    file.write_bytes(content())
    found = suggest(network, file)
    assert found.n_rows == 1
    assert f'profile = "{profile_id}"' in found.suggestion.questions[0]


@pytest.mark.parametrize("name", ["good.csv", "rows_of_one_exam_differ.csv"])
def test_both_write_nothing_into_the_network(network: Path, name: str):
    site = "harbour" if name == "good.csv" else "shoal"
    before = everything(network)
    suggest(network, BAD_EXPORTS / name, site)
    check(network, BAD_EXPORTS / name, site)
    assert everything(network) == before


def test_check_counts_what_would_wait_and_why(network: Path):
    preview = check(network, BAD_EXPORTS / "rows_of_one_exam_differ.csv", "shoal")
    assert (preview.n_rows, preview.n_accepted, preview.waiting) == (2, 1, {"CHK-033": 1})
    assert any("CHK-033" in line and "1 row " in line for line in preview.lines())


def test_check_says_where_attempts_are_unknown(network: Path):
    path = network / "profiles" / "shots.toml"
    path.write_text(path.read_text().replace("lists_attempts = true\n", ""))
    preview = check(network, BAD_EXPORTS / "median_apart_from_readings.csv", "shoal")
    assert (preview.n_accepted, preview.n_attempts_unknown) == (2, 2)
    assert preview.flagged == {"CHK-030": 1}
    assert any("no success rate" in line for line in preview.lines())


def test_check_and_status_say_that_quartiles_are_of_another_type(network: Path):
    path = network / "profiles" / "shots.toml"
    path.write_text(path.read_text().replace("quartile_type = 7", "quartile_type = 6"))
    preview = check(network, BAD_EXPORTS / "median_apart_from_readings.csv", "shoal")
    said = [line for line in preview.lines() if "type 6" in line]
    assert said == list(find_status(network, at=NOW).remarks)
    assert "common-practice.v1 by type 7" in said[0]


def test_check_shows_no_number_of_a_person(network: Path, capsys: pytest.CaptureFixture[str]):
    create_key(network)
    code = main(
        ["profile", "check", str(BAD_EXPORTS / "good.csv"), "--site", "harbour",
         "--network", str(network)],
        {},
    )  # fmt: skip
    shown = capsys.readouterr()
    assert (code, shown.err) == (0, "")
    assert "Row 1 as it would enter: exam_key " in shown.out
    for planted in ("90210071", "Quillfeather", "E-1"):
        assert planted not in shown.out


def test_commands_write_a_new_file_only(
    network: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    out = tmp_path / "p.toml"
    arguments = [
        "profile", "suggest", str(BAD_EXPORTS / "good.csv"), "--site", "harbour",
        "--network", str(network), "--out", str(out),
    ]  # fmt: skip
    assert main(arguments, {}) == 0
    assert "sure    exam_id ← 'Exam'" in capsys.readouterr().out
    written = out.read_bytes()
    assert main(arguments, {}) == 21
    assert out.read_bytes() == written
    assert main(arguments[:-2], {}) == 0
    shown = capsys.readouterr()
    assert parse_profile(shown.out, where="p").column("exam_id") is not None
    assert "Looked at 2 rows." in shown.err


def test_check_ends_with_the_code_of_waiting_rows(network: Path):
    create_key(network)
    arguments = ["profile", "check", str(BAD_EXPORTS / "unknown_code.csv"), "--site", "harbour"]
    assert main([*arguments, "--network", str(network)], dict(os.environ)) == 13


@pytest.mark.parametrize(
    ("site", "name", "error", "code"),
    [
        ("atoll", "good.csv", WrongUse, ""),
        ("harbour", "absent.csv", SourceFileError, "INT-012"),
        ("harbour", "empty.csv", SourceFileError, "INT-001"),
        ("harbour", "no_headings.csv", ProfileError, "INT-015"),
    ],
)
def test_suggest_refuses(network: Path, site: str, name: str, error: type, code: str):
    with pytest.raises(error) as caught:
        suggest(network, BAD_EXPORTS / name, site)
    assert caught.value.code == code
