"""Put a database file without one person's rows in the place of the old one: all of it or nothing.

For files that nobody writes to any more: published snapshots, and the copies of the warehouse that
a migration left. The old file is only read, so no deleted row stays in the pages of the new one.
"""

import os
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import duckdb

from qa.model.errors import SnapshotError, WarehouseError
from qa.stores.disk import put_in_place
from qa.stores.snapshots import REMOVED_FACT

_OF_PERSON = "(SELECT {} FROM old.exams WHERE patient_key = $person)"


def remove_from_snapshot(path: Path, *, patient_key: str, at: datetime) -> int:
    """Take a person's exam rows out of a published snapshot; no figure in it changes.

    Screens may go on reading the old file; they open the new one for their next page.

    Returns: how many rows of exams and of quarantine were taken out; 0 leaves the file as it is.
    Raises: SnapshotError when the file cannot be read or the new one not be written.
    """

    def note(con: duckdb.DuckDBPyConnection, n_rows: int) -> None:
        fact = f"{n_rows} on {at:%Y-%m-%d}"
        con.execute("INSERT INTO fresh.meta VALUES (?, ?)", [REMOVED_FACT, fact])

    try:
        return _rewrite_without(path, patient_key, note)
    except (duckdb.Error, OSError) as problem:
        raise SnapshotError(
            f"no rows can be taken out of it ({str(problem).splitlines()[0]})",
            where=f"snapshots/{path.name}",
            todo="Make room, or restore the file from a backup, and run the same command again",
            code="SNP-006",
        ) from None


def remove_from_copy(path: Path, *, patient_key: str) -> int:
    """Take a person's rows out of a copy of the warehouse that a migration left.

    Returns: how many rows were taken out; 0 leaves the file as it is.
    Raises: WarehouseError when the file cannot be read or the new one not be written.
    """
    try:
        return _rewrite_without(path, patient_key, lambda con, n_rows: None)
    except (duckdb.Error, OSError) as problem:
        raise WarehouseError(
            f"no rows can be taken out of it ({str(problem).splitlines()[0]})",
            where=path.name,
            todo="Make room and run the same command again, or delete the copy if nobody needs it",
            code="WHS-012",
        ) from None


def _rewrite_without(
    path: Path, patient_key: str, note: Callable[[duckdb.DuckDBPyConnection, int], None]
) -> int:
    fresh = path.with_name(path.name + ".unfinished")
    fresh.unlink(missing_ok=True)
    try:
        with duckdb.connect(":memory:") as con:
            con.execute("SET TimeZone = 'UTC'")
            con.execute(f"ATTACH {_quoted(path)} AS old (READ_ONLY)")
            tests = _tests_of(con)
            n_rows = sum(_count(con, table, test, patient_key) for table, test in tests.items())
            if not n_rows:
                return 0
            con.execute(f"ATTACH {_quoted(fresh)} AS fresh")
            con.execute("COPY FROM DATABASE old TO fresh (SCHEMA)")
            for table, test in tests.items():
                _copy(con, table, test, patient_key)
            note(con, n_rows)
            con.execute("CHECKPOINT fresh")
            con.execute("DETACH fresh")
        os.chmod(fresh, path.stat().st_mode & 0o777)
        put_in_place(fresh, path)
    finally:
        fresh.unlink(missing_ok=True)
        fresh.with_name(fresh.name + ".wal").unlink(missing_ok=True)
    return n_rows


def _tests_of(con: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """Each table, and which of its rows stay; "" where none can be a person's.

    Older files know fewer columns: rows in quarantine had no keys at first.
    """
    rows = con.sql(
        "SELECT table_name, list(column_name) FROM duckdb_columns() WHERE database_name = 'old' "
        "AND table_name IN (SELECT table_name FROM duckdb_tables() WHERE database_name = 'old') "
        "GROUP BY table_name ORDER BY table_name"
    ).fetchall()
    return {table: _test_of(table, set(columns)) for table, columns in rows}


def _test_of(table: str, columns: set[str]) -> str:
    if table == "quarantined" and {"patient_key", "exam_key"} <= columns:
        # Rows without a readable patient are the person's where the exam is.
        return f"""patient_key IS DISTINCT FROM $person AND (patient_key IS NOT NULL
            OR exam_key IS NULL OR exam_key NOT IN {_OF_PERSON.format("exam_key")})"""
    if "patient_key" in columns:
        return "patient_key IS DISTINCT FROM $person"
    if {"exam_key", "version_no"} <= columns:
        return f"(exam_key, version_no) NOT IN {_OF_PERSON.format('(exam_key, version_no)')}"
    return ""


def _count(con: duckdb.DuckDBPyConnection, table: str, test: str, patient_key: str) -> int:
    """Rows of exams and of quarantine that go; what hangs on exams is not counted again."""
    if "patient_key" not in test:
        return 0
    sql = f"SELECT count(*) FROM old.{table} WHERE NOT ({test})"
    [(n,)] = con.execute(sql, {"person": patient_key}).fetchall()
    return int(n) if table in ("exams", "quarantined") else 0


def _copy(con: duckdb.DuckDBPyConnection, table: str, test: str, patient_key: str) -> None:
    sql = f"INSERT INTO fresh.{table} SELECT * FROM old.{table}"
    if test:
        con.execute(f"{sql} WHERE {test}", {"person": patient_key})
    else:
        con.execute(sql)


def _quoted(path: Path) -> str:
    text = str(path).replace("'", "''")
    return f"'{text}'"
