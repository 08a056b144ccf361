"""One person's rows are gone, bytes included; what was issued stays and nobody learns whose."""

import gzip
import hmac
import io
import shutil
from datetime import timedelta
from pathlib import Path

import duckdb
import polars as pl
import pytest

from dashboard.app import create_app
from dashboard.source import CurrentSnapshot
from qa.cli import main
from qa.jobs.export import run_export
from qa.jobs.forget import ForgetReport, forget_lines, run_forget
from qa.jobs.refresh import run_refresh
from qa.model.errors import KeyMissing, WrongUse
from qa.stores.forgetting import forgotten_hashes, removals
from qa.stores.snapshots import open_current
from tests.jobs.test_intake import KEY, NOW, every_cell, folder, line, look, read, write
from tests.robust.archives import back_up

__all__ = ["folder"]

PERSON = "90210071"  # of the good row
OTHER = "90210088"


def patient_key(number: str) -> str:
    """By the standard library; FIPS 198-1."""
    return hmac.digest(KEY, number.encode(), "sha256").hex()[:32]


def exam_key(number: str) -> str:
    return hmac.digest(KEY, b"harbour\x1f" + number.encode(), "sha256").hex()[:32]


def refresh(folder: Path, *, days: int = 0):
    at = NOW + timedelta(days=days, hours=1)
    return run_refresh(folder, at=at, by="test", software_version="0")


def forget(folder: Path, *, number: str = PERSON, days: int = 2, **more) -> ForgetReport:
    at = NOW + timedelta(days=days)
    return run_forget(folder, number=number, key=KEY, at=at, by="manager", **more)


@pytest.fixture
def filled(folder: Path) -> Path:
    """The person has two versions of one exam, a second exam, and two rows that wait."""
    others = [line(Exam=f"O-{n}", Patient=OTHER, Date=f"2026-03-1{n} 10:00") for n in range(3)]
    write(folder, "a.csv", line(), line(Exam="E-2"), *others)
    read(folder)
    waits = [line(Exam="E-3", Valid="13"), line(Exam="E-4", Probe="Q")]
    write(folder, "b.csv", line(Valid="11"), *waits, line(Exam="O-9", Patient=OTHER, Valid="13"))
    read(folder)
    refresh(folder)
    return folder


def database_bytes(folder: Path) -> bytes:
    return b"".join(path.read_bytes() for path in sorted(folder.rglob("*.duckdb*")))


def test_run_forget_removes_every_row_of_the_person_and_no_other(filled: Path):
    report = forget(filled)
    removed = report.removed
    assert (removed.n_exam_versions, removed.n_exams, removed.n_quarantined) == (3, 2, 2)
    exams = look(filled, lambda warehouse: warehouse.current_exams())
    assert exams["patient_key"].unique().to_list() == [patient_key(OTHER)]
    assert exams.height == 3
    waiting = look(filled, lambda warehouse: warehouse.quarantined())
    assert waiting["patient_key"].to_list() == [patient_key(OTHER)]
    judged = look(filled, lambda warehouse: warehouse._query("FROM assessments"))
    assert judged.height == 3


def test_run_forget_leaves_no_byte_of_the_keys(filled: Path):
    """The keys stand as text in the files before, so looking for them afterwards can fail."""
    keys = [patient_key(PERSON), *map(exam_key, ("E-1", "E-2", "E-3", "E-4"))]
    before = database_bytes(filled)
    assert all(key.encode() in before for key in keys)
    forget(filled)
    after = database_bytes(filled)
    assert not [key for key in keys if key.encode() in after]
    assert patient_key(OTHER).encode() in after
    assert not list(filled.rglob("*.unfinished*"))


def test_deleting_alone_would_leave_the_bytes(filled: Path):
    """Why the file is written anew."""
    with duckdb.connect(str(filled / "warehouse.duckdb")) as con:
        con.execute("DELETE FROM exams WHERE patient_key = ?", [patient_key(PERSON)])
        con.execute("CHECKPOINT")
    assert patient_key(PERSON).encode() in (filled / "warehouse.duckdb").read_bytes()


def test_run_forget_figures_that_were_issued_stay(filled: Path):
    names = ("monthly_counts", "grade_counts", "chart_points", "funnel_points", "signals")
    before = snapshot_frames(filled, names)
    counts = look(filled, lambda warehouse: warehouse.monthly_counts())
    report = forget(filled)
    assert report.n_snapshots == 1
    assert snapshot_frames(filled, names) == before
    assert look(filled, lambda warehouse: warehouse.monthly_counts()).equals(counts)
    assert snapshot_frames(filled, ("exams",)) != before
    snapshot = open_current(filled)
    assert snapshot.frame("exams").height == 3
    snapshot.close()


def snapshot_frames(folder: Path, names: tuple[str, ...]) -> list[list]:
    snapshot = open_current(folder)
    try:
        return [snapshot.frame(name).rows() for name in names]
    finally:
        snapshot.close()


def test_run_forget_later_refresh_counts_without_the_person(filled: Path):
    forget(filled)
    write(filled, "c.csv", line(Exam="O-5", Patient=OTHER, Date="2026-03-20 10:00"))
    read(filled, days=3)
    refresh(filled, days=3)
    counts = look(filled, lambda warehouse: warehouse.monthly_counts())
    assert counts["n_exams"].sum() == 4


def test_run_forget_record_says_how_many_when_and_why_and_not_whose(filled: Path):
    forget(filled, reason="request of 3 November")
    [row] = look(filled, removals).to_dicts()
    assert row == {
        "n_exam_versions": 3,
        "n_exams": 2,
        "n_quarantined": 2,
        "n_snapshots": 1,
        "reason": "request of 3 November",
        "removed_by": "manager",
        "removed_at": NOW + timedelta(days=2),
    }
    cells = look(filled, every_cell)
    assert not [key for key in (PERSON, patient_key(PERSON), exam_key("E-1")) if key in cells]


def test_run_forget_rows_stay_out_when_their_files_are_read_again(filled: Path):
    forget(filled)
    path = filled / "profiles" / "plain.toml"
    text = path.read_text(encoding="utf-8").replace(
        'S = "standard"', 'S = "standard", Q = "standard"'
    )
    path.write_text(text, encoding="utf-8")
    report = read(filled, days=3)
    assert (report.n_accepted, report.n_quarantined) == (0, 1)
    files = look(filled, lambda warehouse: warehouse.files()).tail(2)
    assert files.select("n_rows", "n_unchanged", "n_quarantined", "n_forgotten").rows() == [
        (5, 3, 0, 2),
        (4, 0, 1, 3),
    ]
    assert patient_key(PERSON).encode() not in database_bytes(filled)


def test_run_forget_new_export_with_the_person_leaves_the_person_out(filled: Path):
    forget(filled)
    write(filled, "c.csv", line(Exam="E-7"), line(Exam="O-7", Patient=OTHER))
    report = read(filled, days=3)
    assert report.n_accepted == 1


def test_run_forget_twice_removes_nothing_more_and_records_nothing(filled: Path):
    forget(filled)
    report = forget(filled, days=3)
    assert (report.removed.n_rows, report.n_snapshots) == (0, 0)
    assert look(filled, removals).height == 1
    assert len(look(filled, forgotten_hashes)) == 1
    assert "Nothing of this number" in forget_lines(report)[0]


def test_run_forget_after_an_interruption_finishes_the_work(
    filled: Path, monkeypatch: pytest.MonkeyPatch
):
    """Rows are deleted, and then the machine stops before the file is written anew."""
    with monkeypatch.context() as patched:
        patched.setattr("qa.jobs.forget.write_warehouse_anew", _stop)
        with pytest.raises(KeyboardInterrupt):
            forget(filled)
    forget(filled, days=3)
    assert patient_key(PERSON).encode() not in database_bytes(filled)


def _stop(*_: object) -> None:
    raise KeyboardInterrupt


def test_run_forget_warehouse_goes_on_working(filled: Path):
    forget(filled)
    assert look(filled, lambda warehouse: warehouse.files()).height == 2
    views = look(
        filled, lambda w: w._first_column("SELECT view_name FROM duckdb_views() WHERE NOT internal")
    )
    assert "current_exams" in views
    write(filled, "c.csv", line(Exam="O-8", Patient=OTHER))
    assert read(filled, days=3).n_accepted == 1
    constraint = "INSERT INTO exams (exam_key) VALUES (NULL)"
    with pytest.raises(duckdb.ConstraintException):
        look(filled, lambda warehouse: warehouse._con.execute(constraint))


def test_run_forget_version_of_another_person_stays(folder: Path):
    """A corrected patient number: the first version is the person's, the second another's."""
    write(folder, "a.csv", line())
    read(folder)
    write(folder, "b.csv", line(Patient=OTHER))
    read(folder, days=1)
    assert forget(folder).removed.n_exam_versions == 1
    exams = look(folder, lambda warehouse: warehouse.current_exams())
    assert exams["patient_key"].to_list() == [patient_key(OTHER)]


def test_run_forget_takes_the_rows_out_of_copies_that_a_migration_left(filled: Path):
    keys = [patient_key(PERSON), *map(exam_key, ("E-1", "E-2", "E-3", "E-4"))]
    for name in ("version-1", "version-1-2", "version-2.unfinished"):
        shutil.copy(filled / "warehouse.duckdb", filled / f"warehouse.duckdb.{name}")
    report = forget(filled)
    assert report.copies == ("warehouse.duckdb.version-1", "warehouse.duckdb.version-1-2")
    assert report.spoilt == ()
    after = database_bytes(filled)
    assert not [key for key in keys if key.encode() in after]
    left = sorted(path.name for path in filled.glob("warehouse.duckdb.*"))
    assert left == sorted(report.copies)
    with duckdb.connect(str(filled / left[0]), read_only=True) as con:
        assert con.sql("SELECT count(*) FROM current_exams").fetchall() == [(3,)]


def test_run_forget_names_what_it_cannot_mend_by_its_path(filled: Path):
    """Backups, exports that were read, one that waits to be read, and whatever else there is."""
    (filled / "old").mkdir()
    back_up(filled, filled / "old" / "october.tar.zst")
    run_export(filled, what="exams", out=filled / "exams.csv")
    write(filled, "not read.csv", line(Exam="E-9"), site="lantern")
    write(filled, "longer.csv", line(Patient=PERSON + "3"), site="lantern")
    (filled / "warehouse.duckdb.version-1").write_bytes(b"spoilt" * 999)
    (filled / "incoming" / "harbour" / "b.csv").unlink()
    text = "\n".join(forget_lines(forget(filled)))
    for line_of in (
        "  incoming/harbour/a.csv",
        "  incoming/lantern/not read.csv",
        "  old/october.tar.zst",
        "  exams.csv",
        "  [WHS-012] warehouse.duckdb.version-1: no rows can be taken out of it",
        "  harbour: b.csv, file ",
    ):
        assert "\n" + line_of in text
    assert "longer.csv" not in text
    assert PERSON not in text
    assert patient_key(PERSON) not in text


def test_run_forget_says_which_packed_exports_it_could_not_search(filled: Path):
    text = (filled / "incoming" / "harbour" / "a.csv").read_bytes()
    (filled / "incoming" / "lantern").mkdir(exist_ok=True)
    (filled / "incoming" / "lantern" / "new.csv.gz").write_bytes(gzip.compress(text))
    told = forget_lines(forget(filled))
    place = told.index("  incoming/lantern/new.csv.gz")
    assert "could not be searched" in told[place - 1]


def test_screens_that_are_open_show_the_person_no_more(folder: Path):
    """The snapshot keeps its name, so a screen must see that another file lies there."""
    rows = [line(Exam=exam, Valid="5") for exam in ("E-1", "E-2")]
    write(folder, "a.csv", *rows, line(Exam="O-1", Patient=OTHER, Valid="4"))
    assert read(folder).is_clean
    refresh(folder)
    client = create_app(CurrentSnapshot(folder)).server.test_client()

    def shown() -> set[str]:
        text = client.get("/export/exams.csv?site=harbour&month=2026-03").text
        keys = [exam_key(one) for one in ("E-1", "E-2")]
        return {key for key in (*keys, exam_key("O-1")) if key[:8] in text}

    before = shown()
    assert len(before) >= 2
    forget(folder)
    assert shown() == {exam_key("O-1")}


def test_run_forget_unknown_number_changes_no_exam(filled: Path):
    before = look(filled, lambda warehouse: warehouse.current_exams())
    assert forget(filled, number="11111111").removed.n_rows == 0
    assert look(filled, lambda warehouse: warehouse.current_exams()).equals(before)


def test_run_forget_with_another_key_is_refused_before_anything(filled: Path):
    before = database_bytes(filled)
    with pytest.raises(KeyMissing) as caught:
        run_forget(filled, number=PERSON, key=b"aa" * 32, at=NOW, by="manager")
    assert caught.value.code == "KEY-004"
    assert database_bytes(filled) == before


@pytest.mark.parametrize("number", ["", "  "])
def test_run_forget_without_a_number_is_refused(filled: Path, number: str):
    with pytest.raises(WrongUse, match="no patient's number"):
        forget(filled, number=number)


def test_forget_command_reads_the_number_from_standard_input(
    filled: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{PERSON}\n"))
    environ = {"ELASTOQA_PSEUDONYM_KEY": KEY.decode()}
    words = ["forget", "--reason", "request", "--by", "manager", "--network", str(filled)]
    assert main(words, environ) == 0
    told = capsys.readouterr()
    assert "3 versions of 2 exams and 2 rows in quarantine were removed" in told.out
    assert PERSON not in told.out + told.err


def test_forget_command_asks_twice_at_the_keyboard(
    filled: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    class Keyboard:
        def isatty(self) -> bool:
            return True

    answers = iter([PERSON, PERSON + "1"])
    monkeypatch.setattr("sys.stdin", Keyboard())
    monkeypatch.setattr("getpass.getpass", lambda _: next(answers))
    environ = {"ELASTOQA_PSEUDONYM_KEY": KEY.decode()}
    assert main(["forget", "--network", str(filled)], environ) == 2
    assert "[USE-007]" in capsys.readouterr().err
    assert look(filled, removals).is_empty()


def test_hidden_key_is_in_no_other_table(filled: Path):
    forget(filled)
    [hidden] = look(filled, forgotten_hashes)
    tables = look(filled, lambda w: w._first_column("SELECT table_name FROM duckdb_tables()"))
    for table in set(tables) - {"forgotten"}:
        frame = look(filled, lambda warehouse, name=table: warehouse._query(f"FROM {name}"))
        assert hidden not in str(frame.to_dicts())
    assert isinstance(look(filled, removals), pl.DataFrame)
