"""The warehouse on a real DuckDB file in a temporary folder."""

import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import duckdb
import polars as pl
import pytest

from qa.model.errors import WarehouseError
from qa.model.schemas import (
    ALL_SCHEMAS,
    ASSESSMENTS,
    BASELINES,
    EXAMS,
    FILES,
    GRADE_COUNTS,
    MONTHLY_COUNTS,
    QUARANTINED,
)
from qa.stores.warehouse import Warehouse, open_warehouse
from qa.stores.warehouse_tables import SCHEMA_VERSION, sql_type
from tests.unit.stores.rows import (
    assessment_row,
    count_row,
    exam_row,
    file_row,
    frame_of,
    quarantined_row,
)

NOW = datetime(2026, 11, 5, 8, 0, tzinfo=UTC)
JAN, FEB, MAR = date(2026, 1, 1), date(2026, 2, 1), date(2026, 3, 1)


@pytest.fixture
def warehouse(tmp_path: Path) -> Iterator[Warehouse]:
    with open_warehouse(tmp_path / "w.duckdb", create=True) as opened:
        yield opened


def append(warehouse: Warehouse, file_id: str, *exams: dict, **more) -> None:
    warehouse.append_file(
        frame_of(FILES, [file_row(file_id=file_id, **more)]),
        frame_of(EXAMS, [exam_row(file_id=file_id) | exam for exam in exams]),
        QUARANTINED.empty(),
    )


def refresh(warehouse: Warehouse, number: int, months: list[date], **frames) -> None:
    empty = {
        "assessments": ASSESSMENTS.empty(),
        "counts": MONTHLY_COUNTS.empty(),
        "grade_counts": GRADE_COUNTS.empty(),
    }
    warehouse.append_refresh(
        refresh_id=f"R{number}",
        refreshed_at=NOW + timedelta(hours=number),
        rules_fingerprint=f"rules-{number}",
        months=months,
        **(empty | frames),
    )


def test_open_warehouse_absent_says_to_run_intake(tmp_path: Path):
    with pytest.raises(WarehouseError, match="elastoqa intake"), open_warehouse(tmp_path / "no"):
        pass


def test_open_warehouse_no_database_is_refused(tmp_path: Path):
    path = tmp_path / "w.duckdb"
    path.write_bytes(b"nothing that a database wrote " * 1000)
    with pytest.raises(WarehouseError, match="cannot be opened") as caught, open_warehouse(path):
        pass
    assert caught.value.code == "WHS-003"


def test_open_warehouse_foreign_database_is_refused(tmp_path: Path):
    path = tmp_path / "w.duckdb"
    with duckdb.connect(str(path)) as con:
        con.execute("CREATE TABLE other (a INTEGER)")
    for create in (False, True):
        with pytest.raises(WarehouseError) as caught, open_warehouse(path, create=create):
            pass
        assert caught.value.code == "WHS-003"


def test_open_warehouse_newer_version_is_refused(tmp_path: Path):
    path = tmp_path / "w.duckdb"
    with open_warehouse(path, create=True):
        pass
    with duckdb.connect(str(path)) as con:
        con.execute("UPDATE meta SET value = ?", [str(SCHEMA_VERSION + 1)])
    with pytest.raises(WarehouseError, match="newer program") as caught, open_warehouse(path):
        pass
    assert caught.value.code == "WHS-004"


HOLDER = (
    "import duckdb,sys; c=duckdb.connect(sys.argv[1]); print('held',flush=True); sys.stdin.read()"
)


def test_open_warehouse_held_by_another_process_says_busy(tmp_path: Path):
    path = tmp_path / "w.duckdb"
    with open_warehouse(path, create=True):
        pass
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with (
            pytest.raises(WarehouseError, match="another program") as caught,
            open_warehouse(path, wait_seconds=0),
        ):
            pass
        assert holder.stdin is not None
        holder.stdin.close()
    assert caught.value.code == "WHS-002"


def test_open_warehouse_unfinished_creation_is_made_again(tmp_path: Path):
    path = tmp_path / "w.duckdb"
    duckdb.connect(str(path)).close()
    with open_warehouse(path, create=True) as opened:
        assert opened.meta("schema_version") == str(SCHEMA_VERSION)


def test_sql_type_knows_every_type_of_the_schemas():
    types = {sql_type(column.dtype) for schema in ALL_SCHEMAS for column in schema.columns}
    assert types == {
        "VARCHAR", "VARCHAR[]", "INTEGER", "BIGINT", "DOUBLE", "DOUBLE[]", "BOOLEAN", "DATE",
        "TIMESTAMPTZ",
    }  # fmt: skip


def test_append_file_then_reopen_gives_the_same_rows(tmp_path: Path):
    path = tmp_path / "w.duckdb"
    exams = frame_of(EXAMS, [exam_row(exam_key="a", flags=["CHK-023"]), exam_row(exam_key="b")])
    files = frame_of(FILES, [file_row()])
    waiting = frame_of(QUARANTINED, [quarantined_row()])
    with open_warehouse(path, create=True) as warehouse:
        warehouse.append_file(files, exams, waiting)
    with open_warehouse(path) as warehouse:
        assert warehouse.current_exams().equals(exams)
        assert warehouse.files().equals(files)
        assert warehouse.quarantined().equals(waiting)


def test_empty_warehouse_gives_empty_frames_with_schemas(warehouse: Warehouse):
    for frame, schema in (
        (warehouse.current_exams(), EXAMS),
        (warehouse.current_exams(months=[JAN]), EXAMS),
        (warehouse.files(), FILES),
        (warehouse.quarantined(), QUARANTINED),
        (warehouse.monthly_counts(), MONTHLY_COUNTS),
        (warehouse.grade_counts(), GRADE_COUNTS),
        (warehouse.assessments(), ASSESSMENTS),
        (warehouse.baselines(), BASELINES),
    ):
        assert frame.equals(schema.empty())
    assert warehouse.last_refresh() is None
    assert warehouse.latest_versions().is_empty()
    assert warehouse.known_files().is_empty()


def test_append_file_failure_leaves_nothing(warehouse: Warehouse):
    broken = frame_of(EXAMS, [exam_row()]).with_columns(site_id=pl.lit(None, pl.String))
    with pytest.raises(ValueError, match="site_id"):
        warehouse.append_file(frame_of(FILES, [file_row()]), broken, QUARANTINED.empty())
    assert warehouse.files().is_empty()
    append(warehouse, "next", {})
    assert warehouse.current_exams().height == 1


def test_current_exams_takes_newest_version_not_retracted(warehouse: Warehouse):
    append(warehouse, "f1", {"exam_key": "a"}, {"exam_key": "b"}, {"exam_key": "c"})
    append(warehouse, "f2", {"exam_key": "a", "version_no": 2, "n_valid": 11})
    append(warehouse, "f3", {"exam_key": "c", "version_no": 2, "is_retracted": True})
    found = warehouse.current_exams().select("exam_key", "version_no", "n_valid").rows()
    assert sorted(found) == [("a", 2, 11), ("b", 1, 10)]


@pytest.mark.parametrize(
    ("selection", "keys"),
    [
        ({}, ["jan", "feb", "mar"]),
        ({"months": [JAN, MAR]}, ["jan", "mar"]),
        ({"months": []}, []),
        ({"from_day": date(2026, 2, 15)}, ["feb", "mar"]),
        ({"to_day": date(2026, 2, 15)}, ["jan"]),
        ({"from_day": date(2026, 2, 15), "to_day": date(2026, 3, 15)}, ["feb"]),
    ],
)
def test_current_exams_selection(warehouse: Warehouse, selection: dict, keys: list[str]):
    days = {"jan": JAN, "feb": FEB, "mar": MAR}
    append(warehouse, "f", *({"exam_key": key} | on(month) for key, month in days.items()))
    assert warehouse.current_exams(**selection)["exam_key"].to_list() == keys


def on(month: date) -> dict:
    day = month.replace(day=15)
    at = datetime(day.year, day.month, day.day, 9, tzinfo=UTC)
    return {"exam_on": day, "exam_at": at, "month": month}


def test_latest_versions_names_the_first_arrival_of_the_file(warehouse: Warehouse):
    append(warehouse, "f1", {"exam_key": "a"}, {"exam_key": "b"})
    append(warehouse, "f2", {"exam_key": "a", "version_no": 2, "row_hash": "h2"})
    append(warehouse, "f1", {"exam_key": "b", "version_no": 2, "row_hash": "h3"})
    rows = warehouse.latest_versions().sort("exam_key")
    assert rows.select("exam_key", "version_no", "row_hash", "first_seq").rows() == [
        ("a", 2, "h2", 2),
        ("b", 2, "h3", 1),
    ]
    assert warehouse.latest_versions(pl.Series(["b", "x"]))["exam_key"].to_list() == ["b"]


def test_known_files_gives_newest_reading_and_first_place(warehouse: Warehouse):
    append(warehouse, "f1", state="refused", problem="empty")
    append(warehouse, "f2")
    append(warehouse, "f1", intake_fingerprint="new")
    rows = warehouse.known_files().select("file_id", "state", "intake_fingerprint", "first_seq")
    assert rows.rows() == [("f1", "read", "new", 1), ("f2", "read", "old", 2)]


def test_quarantined_shows_what_the_newest_reading_left(warehouse: Warehouse):
    def read(file_id: str, rows: list[int], state: str = "read") -> None:
        waiting = [quarantined_row(file_id=file_id, row_no=row_no) for row_no in rows]
        warehouse.append_file(
            frame_of(FILES, [file_row(file_id=file_id, state=state)]),
            EXAMS.empty(),
            frame_of(QUARANTINED, waiting),
        )

    read("f1", [1, 2])
    read("f2", [5])
    read("f1", [2])
    read("f2", [], state="refused")
    assert warehouse.quarantined().select("file_id", "row_no").rows() == [("f2", 5), ("f1", 2)]


def test_months_touched_since_counts_both_months_of_a_moved_exam(warehouse: Warehouse):
    append(warehouse, "f1", {"exam_key": "a"} | on(JAN), {"exam_key": "b"} | on(MAR))
    assert warehouse.months_touched_since(NOW) == [JAN, MAR]
    refresh(warehouse, 1, [JAN, MAR])
    after = NOW + timedelta(hours=1)
    assert warehouse.months_touched_since(after) == []
    append(warehouse, "f2", {"exam_key": "a", "version_no": 2} | on(FEB))
    assert warehouse.months_touched_since(after) == [JAN, FEB]
    assert warehouse.months_touched_since(after - timedelta(seconds=1)) == [JAN, FEB, MAR]
    assert warehouse.months_with_exams() == [JAN, FEB, MAR]


def test_counts_of_a_month_are_those_of_its_newest_refresh(warehouse: Warehouse):
    counts = [count_row(month=JAN, n_exams=1), count_row(month=FEB, n_exams=2)]
    refresh(warehouse, 1, [JAN, FEB], counts=frame_of(MONTHLY_COUNTS, counts))
    newer = frame_of(MONTHLY_COUNTS, [count_row(month=FEB, n_exams=3)])
    refresh(warehouse, 2, [FEB, MAR], counts=newer)
    assert warehouse.monthly_counts().select("month", "n_exams").rows() == [(JAN, 1), (FEB, 3)]
    refresh(warehouse, 3, [JAN])
    assert warehouse.monthly_counts()["month"].to_list() == [FEB]
    assert warehouse.last_refresh() == (NOW + timedelta(hours=3), "rules-3")


def test_assessments_follow_the_month_of_the_exam(warehouse: Warehouse):
    append(warehouse, "f1", {"exam_key": "a"} | on(JAN), {"exam_key": "b"} | on(FEB))
    first = frame_of(ASSESSMENTS, [assessment_row(exam_key=key) for key in "ab"])
    refresh(warehouse, 1, [JAN, FEB], assessments=first)
    append(warehouse, "f2", {"exam_key": "a", "version_no": 2} | on(MAR))
    moved = frame_of(ASSESSMENTS, [assessment_row(exam_key="a", version_no=2)])
    refresh(warehouse, 2, [JAN, MAR], assessments=moved)
    assert warehouse.assessments().select("exam_key", "version_no").rows() == [("a", 2), ("b", 1)]
    assert warehouse.assessments([FEB])["exam_key"].to_list() == ["b"]


def test_set_meta_keeps_the_newest_value(warehouse: Warehouse):
    assert warehouse.meta("key_fingerprint") is None
    warehouse.set_meta("key_fingerprint", "one")
    warehouse.set_meta("key_fingerprint", "two")
    assert warehouse.meta("key_fingerprint") == "two"


@pytest.mark.parametrize("zone", ["Pacific/Auckland", "America/Lima"])
def test_times_stay_utc_in_any_time_zone_of_the_machine(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, zone: str
):
    monkeypatch.setenv("TZ", zone)
    path = tmp_path / "w.duckdb"
    exams = frame_of(EXAMS, [exam_row()])
    with open_warehouse(path, create=True) as warehouse:
        append(warehouse, "f", {})
        assert warehouse.current_exams()["exam_at"].equals(exams["exam_at"])
