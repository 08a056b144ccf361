"""Files without one person's rows: copies of older warehouses, of whatever version."""

from pathlib import Path

import duckdb
import pytest

from qa.model.errors import WarehouseError
from qa.stores.rewriting import remove_from_copy
from tests.unit.stores.test_migrations import EXAM, FILE, REFRESH, VERSION_1

PERSON, OTHER = "person-key-aaaaaaaa", "other-key-bbbbbbbb"


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of version 1 with two versions of the person's exam and one of somebody else."""
    path = tmp_path / "warehouse.duckdb.version-1"
    with duckdb.connect(str(path)) as con:
        con.execute(VERSION_1)
        for version, key in ((1, PERSON), (2, PERSON), (3, OTHER)):
            con.execute(FILE.format(version=version))
            text = EXAM.format(version=version, valid=9).replace("'p' AS", f"'{key}' AS")
            con.execute(text.replace("'a' AS exam_key", f"'exam-{key}' AS exam_key"))
            con.execute(
                f"INSERT INTO assessments BY NAME SELECT 'exam-{key}' AS exam_key, "
                f"{version} AS version_no, " + _rest_of("assessments", con)
            )
        con.execute(REFRESH)
    path.chmod(0o640)
    return path


def _rest_of(table: str, con: duckdb.DuckDBPyConnection) -> str:
    """Any value that fits, for each other column that must not be empty."""
    rows = con.sql(
        f"SELECT column_name, data_type FROM duckdb_columns() WHERE table_name = '{table}' "
        "AND NOT is_nullable AND column_name NOT IN ('exam_key', 'version_no')"
    ).fetchall()
    zero = {"VARCHAR": "''", "VARCHAR[]": "[]", "BOOLEAN": "false"}
    return ", ".join(f"{zero.get(kind, '0')}::{kind} AS {name}" for name, kind in rows)


def shape(path: Path) -> list[tuple]:
    with duckdb.connect(str(path), read_only=True) as con:
        return con.sql(
            "SELECT table_name, column_name, data_type, is_nullable FROM duckdb_columns() "
            "WHERE NOT internal ORDER BY ALL"
        ).fetchall()


def test_remove_from_copy_leaves_no_byte_of_the_person_and_the_rest_as_it_was(copy: Path):
    before = shape(copy)
    assert PERSON.encode() in copy.read_bytes()
    assert remove_from_copy(copy, patient_key=PERSON) == 2
    assert PERSON.encode() not in copy.read_bytes()
    assert shape(copy) == before
    assert copy.stat().st_mode & 0o777 == 0o640
    with duckdb.connect(str(copy), read_only=True) as con:
        for table, n in (("exams", 1), ("assessments", 1), ("files", 3), ("current_exams", 1)):
            assert con.sql(f"SELECT count(*) FROM {table}").fetchall() == [(n,)]
    assert [one.name for one in copy.parent.iterdir()] == [copy.name]


def test_remove_from_copy_without_the_person_leaves_the_file_alone(copy: Path):
    before = (copy.read_bytes(), copy.stat().st_ino, copy.stat().st_mtime_ns)
    assert remove_from_copy(copy, patient_key="stranger") == 0
    assert (copy.read_bytes(), copy.stat().st_ino, copy.stat().st_mtime_ns) == before


def test_remove_from_copy_of_a_damaged_file_says_so_and_leaves_it(tmp_path: Path):
    path = tmp_path / "warehouse.duckdb.version-1"
    path.write_bytes(b"no database" * 1000)
    with pytest.raises(WarehouseError, match="WHS-012"):
        remove_from_copy(path, patient_key=PERSON)
    assert path.read_bytes() == b"no database" * 1000
