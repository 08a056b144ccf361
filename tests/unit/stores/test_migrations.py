"""A warehouse of version 1, made from its frozen text, comes forward with all its rows."""

import errno
import shutil
import subprocess
import sys
from pathlib import Path

import duckdb
import pytest

from qa.model.errors import WarehouseError
from qa.stores.migrations import is_complete
from qa.stores.warehouse import open_warehouse
from qa.stores.warehouse_history import month_closes, withdrawals
from qa.stores.warehouse_tables import SCHEMA_VERSION

VERSION_1 = (Path(__file__).parent / "warehouse_v1.sql").read_text(encoding="utf-8")
EXAM = """INSERT INTO exams BY NAME SELECT 'a' AS exam_key, {version} AS version_no,
    'p' AS patient_key, 's' AS site_id, 'o' AS operator_id, 'd' AS device_id, 'TE' AS technique,
    'standard' AS probe, 'performed' AS performed, 'first' AS order_type, {valid} AS n_valid,
    'unknown' AS sex, false AS is_stiffness_censored, false AS is_attenuation_censored,
    false AS is_date_nominal, false AS is_retracted,
    TIMESTAMPTZ '2026-01-15 09:00:00+00' AS exam_at,
    DATE '2026-01-15' AS exam_on, DATE '2026-01-01' AS month, ['CHK-023'] AS flags,
    'f{version}' AS file_id, 1 AS row_no, 'x.v1' AS profile_id, 'h{version}' AS row_hash,
    TIMESTAMPTZ '2026-02-01 09:00:00+00' AS known_at, {version} AS file_seq"""
FILE = """INSERT INTO files BY NAME SELECT 'f{version}' AS file_id, 'jan.csv' AS name,
    's' AS site_id, 'read' AS state, 1 AS n_rows, 1 AS n_accepted, 0 AS n_unchanged,
    0 AS n_quarantined, 0 AS n_dropped_columns, TIMESTAMPTZ '2026-02-01 09:00:00+00' AS known_at,
    {version} AS file_seq"""
REFRESH = """INSERT INTO refreshes VALUES
    (1, 'R1', TIMESTAMPTZ '2026-02-02 09:00:00+00', 'old rules', 2)"""


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """A warehouse of version 1 with one exam, corrected once, and a refresh."""
    path = tmp_path / "warehouse.duckdb"
    with duckdb.connect(str(path)) as con:
        con.execute(VERSION_1)
        con.execute("INSERT INTO meta VALUES (1, 'schema_version', '1'), (2, 'other', 'kept')")
        for version, valid in ((1, 9), (2, 10)):
            con.execute(FILE.format(version=version))
            con.execute(EXAM.format(version=version, valid=valid))
        con.execute(REFRESH)
    return path


def copies(path: Path) -> list[str]:
    return sorted(one.name for one in path.parent.iterdir() if one != path)


def columns(path: Path) -> list[tuple]:
    with duckdb.connect(str(path)) as con:
        return con.sql(
            "SELECT table_name, column_name, data_type, is_nullable FROM duckdb_columns() "
            "WHERE NOT internal AND table_name <> 'meta' ORDER BY ALL"
        ).fetchall()


def test_open_warehouse_brings_version_1_forward_with_its_rows(old: Path):
    with open_warehouse(old) as warehouse:
        [exam] = warehouse.current_exams().to_dicts()
        assert (exam["version_no"], exam["n_valid"], exam["flags"]) == (2, 10, ["CHK-023"])
        assert exam["source_status"] is None
        assert warehouse.files().height == 2
        assert withdrawals(warehouse).is_empty()
        assert month_closes(warehouse).is_empty()
        assert warehouse.meta("schema_version") == str(SCHEMA_VERSION)
        assert warehouse.meta("other") == "kept"
        assert warehouse.last_refresh() is not None


def test_open_warehouse_copies_the_old_file_first_and_once(old: Path):
    for _ in range(2):
        with open_warehouse(old):
            pass
    assert copies(old) == ["warehouse.duckdb.version-1"]
    with duckdb.connect(str(old) + ".version-1") as con:
        assert con.sql("SELECT value FROM meta WHERE key = 'schema_version'").fetchall() == [("1",)]
        assert con.sql("SELECT count(*) FROM current_exams").fetchall() == [(1,)]


def test_open_warehouse_forward_has_the_columns_of_a_new_one(old: Path, tmp_path: Path):
    fresh = tmp_path / "fresh.duckdb"
    with open_warehouse(old), open_warehouse(fresh, create=True):
        pass
    assert columns(old) == columns(fresh)


def test_open_warehouse_without_room_for_the_copy_changes_nothing(
    old: Path, monkeypatch: pytest.MonkeyPatch
):
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(shutil, "copyfileobj", full)
    with pytest.raises(WarehouseError) as caught, open_warehouse(old):
        pass
    assert caught.value.code == "WHS-005"
    assert "nothing was changed" in str(caught.value)
    assert copies(old) == []
    with duckdb.connect(str(old)) as con:
        assert con.sql("SELECT value FROM meta WHERE key = 'schema_version'").fetchall() == [("1",)]


def test_a_copy_that_is_there_is_never_written_over(old: Path):
    first = old.with_name(old.name + ".version-1")
    first.write_bytes(b"an earlier copy")
    with open_warehouse(old):
        pass
    assert first.read_bytes() == b"an earlier copy"
    assert copies(old) == ["warehouse.duckdb.version-1", "warehouse.duckdb.version-1-2"]


def test_is_complete_sees_a_missing_view(tmp_path: Path):
    path = tmp_path / "w.duckdb"
    with open_warehouse(path, create=True):
        pass
    with duckdb.connect(str(path)) as con:
        assert is_complete(con)
        con.execute("DROP VIEW withdrawn_files CASCADE")
        assert not is_complete(con)
    with open_warehouse(path) as warehouse:
        assert warehouse.current_exams().is_empty()


OTHER = """import duckdb, sys
try:
    duckdb.connect(sys.argv[1])
except duckdb.IOException:
    sys.exit(3)"""


def test_a_warehouse_that_came_forward_stays_locked_until_it_is_closed(old: Path):
    with open_warehouse(old):
        assert subprocess.run([sys.executable, "-c", OTHER, str(old)]).returncode == 3
    assert subprocess.run([sys.executable, "-c", OTHER, str(old)]).returncode == 0
