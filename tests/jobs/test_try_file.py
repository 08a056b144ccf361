"""A file that is tried is read as intake would read it, and nothing of it is kept."""

import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from qa.jobs.try_file import FileTrial
from qa.model.errors import KeyMissing, ProfileError, SourceFileError, WrongUse
from qa.model.parsing import parse_profile

BAD_EXPORTS = Path(__file__).parents[1] / "bad_exports"
NAMES = ("Quillfeather", "Featherquill", "90210071", "90210072")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copytree(BAD_EXPORTS / "network", tmp_path / "network")
    return tmp_path / "network"


@pytest.fixture
def trial(folder: Path) -> FileTrial:
    now = datetime(2026, 11, 5, 8, tzinfo=UTC)
    return FileTrial(folder, find_key=lambda: b"0f" * 32, now=lambda: now)


def read(name: str) -> bytes:
    return (BAD_EXPORTS / name).read_bytes()


def everything(folder: Path) -> dict[str, bytes]:
    return {str(one): one.read_bytes() for one in folder.rglob("*") if one.is_file()}


def test_good_file_enters_whole_under_keys_and_leaves_no_trace(folder, trial):
    before = everything(folder)
    seen = trial.check(name="good.csv", content=read("good.csv"), site_id="harbour")
    n_rows = len(read("good.csv").splitlines()) - 1
    assert seen.answer == f"By profile plain.v1 {n_rows} rows would enter and none would wait."
    assert seen.waiting == ()
    assert dict(seen.facts)["Exams"].startswith("2026-03-05 to ")
    assert seen.rows
    assert not any(name in str(seen) for name in NAMES)
    assert everything(folder) == before


def test_key_of_a_row_is_cut_to_its_beginning(trial):
    seen = trial.check(name="good.csv", content=read("good.csv"), site_id="harbour")
    for heading in ("exam_key", "patient_key"):
        place = seen.headings.index(heading)
        assert {len(row[place]) for row in seen.rows} == {8}


def test_faulty_row_is_counted_under_its_reason(trial):
    seen = trial.check(name="unit_missing.csv", content=read("unit_missing.csv"), site_id="harbour")
    assert [code for _, _, code in seen.waiting] == ["CHK-039"]


def test_proposed_profile_can_be_read(folder, trial):
    before = everything(folder)
    found = trial.suggest(name="good.csv", content=read("good.csv"), site_id="harbour")
    assert found.answer.startswith("A profile is proposed from 2 rows:")
    assert "Name" in found.left_out
    assert ("exam_id", "Exam", "sure") in [one[:3] for one in found.placed]
    assert 'id = "plain"' in found.text
    assert not any(name in str(found) for name in NAMES)
    assert everything(folder) == before
    mended = found.text.replace('# "S" = ?', '"S" = "standard" #')
    assert parse_profile(mended, where="proposed").id == "plain"
    content = read("good.csv")
    tried = trial.check(name="a.csv", content=content, site_id="harbour", profile_text=mended)
    assert "2 rows would enter and none would wait" in tried.answer


@pytest.mark.parametrize("name", ["binary.csv", "empty.csv", "nul_bytes.csv", "workbook.csv"])
def test_file_that_cannot_be_read_is_refused_by_check(trial, name):
    with pytest.raises((SourceFileError, ProfileError)):
        trial.check(name=name, content=read(name), site_id="harbour")


def test_mended_profile_is_tried_without_being_saved(folder, trial):
    """A code of a probe that the site's own profile does not know enters by the mended one."""
    before = everything(folder)
    content = read("good.csv").replace(b",TE,S,", b",TE,Q,")
    own = (folder / "profiles" / "plain.toml").read_text(encoding="utf-8")
    mended = own.replace('S = "standard"', 'S = "standard", Q = "standard"')
    for text, n_waiting in (("", 1), (mended, 0)):
        seen = trial.check(name="a.csv", content=content, site_id="harbour", profile_text=text)
        assert len(seen.waiting) == n_waiting
    assert everything(folder) == before
    with pytest.raises(ProfileError, match="the profile that was sent"):
        trial.check(name="a.csv", content=content, site_id="harbour", profile_text="id = ")


def test_site_that_is_not_there_is_wrong_use(trial):
    with pytest.raises(WrongUse):
        trial.check(name="good.csv", content=read("good.csv"), site_id="nowhere")


def test_lost_key_is_said(folder):
    def lost() -> bytes:
        raise KeyMissing("the key is lost")

    trial = FileTrial(folder, find_key=lost, now=lambda: datetime(2026, 11, 5, tzinfo=UTC))
    with pytest.raises(KeyMissing):
        trial.check(name="good.csv", content=read("good.csv"), site_id="harbour")
