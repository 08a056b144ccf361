"""The warehouse's file: opening it, its tables made from the schemas, and the views on them."""

import errno
import os
import re
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from qa.model.errors import UserError, WarehouseError
from qa.model.schemas import (
    ASSESSMENTS,
    BASELINES,
    EXAMS,
    FILES,
    GRADE_COUNTS,
    MONTHLY_COUNTS,
    QUARANTINED,
    UTC_TIME,
    Schema,
)
from qa.stores.disk import disk_full, is_disk_full

SCHEMA_VERSION = 1

_KNOWN: dict[str, Any] = {
    "file_id": pl.String,
    "site_id": pl.String,
    "name": pl.String,
    "state": pl.String,
    "problem": pl.String,
    "intake_fingerprint": pl.String,
    "known_at": UTC_TIME,
    "first_seq": pl.Int64,
}
KNOWN_FILES = pl.Schema(_KNOWN)
LATEST_VERSIONS = pl.Schema(
    {
        "exam_key": pl.String,
        "version_no": pl.Int32,
        "row_hash": pl.String,
        "patient_key": pl.String,
        "exam_on": pl.Date,
        "first_seq": pl.Int64,
    }
)

# Appended by the warehouse itself: the place in the order of transactions.
_SEQUENCES: tuple[tuple[Schema, str], ...] = (
    (FILES, "file_seq"),
    (EXAMS, "file_seq"),
    (QUARANTINED, "file_seq"),
    (ASSESSMENTS, "refresh_seq"),
    (MONTHLY_COUNTS, "refresh_seq"),
    (GRADE_COUNTS, "refresh_seq"),
    (BASELINES, ""),
)

_OTHER_TABLES = (
    "CREATE TABLE meta (meta_seq BIGINT NOT NULL, key VARCHAR NOT NULL, value VARCHAR NOT NULL)",
    """CREATE TABLE refreshes (refresh_seq BIGINT NOT NULL, refresh_id VARCHAR NOT NULL,
        refreshed_at TIMESTAMPTZ NOT NULL, rules_fingerprint VARCHAR NOT NULL,
        up_to_file_seq BIGINT NOT NULL)""",
    "CREATE TABLE refresh_months (refresh_seq BIGINT NOT NULL, month DATE NOT NULL)",
)

_SQL_TYPES: tuple[tuple[Any, str], ...] = (
    (pl.String, "VARCHAR"),
    (pl.Int32, "INTEGER"),
    (pl.Int64, "BIGINT"),
    (pl.Float64, "DOUBLE"),
    (pl.Boolean, "BOOLEAN"),
    (pl.Date, "DATE"),
    (UTC_TIME, "TIMESTAMPTZ"),
)

_VIEWS = (
    # Corrections are few, so the side that is looked up is small.
    """CREATE VIEW current_exams AS SELECT * FROM exams AS exam WHERE NOT EXISTS (
        SELECT 1 FROM exams AS newer WHERE newer.version_no > 1
        AND newer.exam_key = exam.exam_key AND newer.version_no > exam.version_no)""",
    """CREATE VIEW current_quarantined AS SELECT waiting.* FROM quarantined AS waiting
        SEMI JOIN (SELECT file_id, max(file_seq) AS file_seq FROM files
                   WHERE state = 'read' GROUP BY file_id) USING (file_id, file_seq)""",
    """CREATE VIEW current_months AS SELECT month, max(refresh_seq) AS refresh_seq
        FROM refresh_months GROUP BY month""",
    """CREATE VIEW current_assessments AS SELECT judged.*, exam.month FROM assessments AS judged
        JOIN exams AS exam USING (exam_key, version_no)
        SEMI JOIN current_months USING (month, refresh_seq)""",
)


_DENIED = tuple(os.strerror(number) for number in (errno.EACCES, errno.EPERM, errno.EROFS))
_HOLDER = re.compile(r"\(PID (\d+)\)")


def sql_type(dtype: Any) -> str:
    """DuckDB's type for a polars type of ours."""
    if isinstance(dtype, pl.List):
        return f"{sql_type(dtype.inner)}[]"
    return next(name for known, name in _SQL_TYPES if dtype == known)


def names_of(schema: Schema) -> str:
    return ", ".join(f'"{name}"' for name in schema.names)


def create_statements() -> list[str]:
    """Statements that make an empty warehouse, in order."""
    tables = []
    for schema, sequence in _SEQUENCES:
        columns = [
            f'"{column.name}" {sql_type(column.dtype)}{"" if column.is_nullable else " NOT NULL"}'
            for column in schema.columns
        ]
        columns += [f'"{sequence}" BIGINT NOT NULL'] if sequence else []
        tables.append(f"CREATE TABLE {schema.name} ({', '.join(columns)})")
    return [*tables, *_OTHER_TABLES, *_VIEWS]


def connect(path: Path) -> duckdb.DuckDBPyConnection:
    try:
        con = duckdb.connect(str(path))
    except (duckdb.IOException, duckdb.ConnectionException) as problem:
        text = str(problem).lower()
        if "lock" in text or "different configuration" in text:
            holder = _HOLDER.search(str(problem))
            who = f" (process {holder[1]})" if holder else ""
            raise WarehouseError(
                f"another program{who} is using the warehouse",
                where=str(path),
                todo="Wait until the other intake or refresh is done, then try again",
                code="WHS-002",
            ) from None
        raise _not_opened(path, problem) from None
    except duckdb.Error as problem:
        raise _not_opened(path, problem) from None
    con.execute("SET TimeZone = 'UTC'")
    return con


def _not_opened(path: Path, problem: duckdb.Error) -> UserError:
    if is_disk_full(problem):
        return warehouse_disk_full(path)
    denied = next((words for words in _DENIED if words in str(problem)), None)
    if denied is None:
        return _damaged(path)
    return WarehouseError(
        f"the file cannot be opened for writing ({denied})",
        where=str(path),
        expected="a file and a folder that this program's user may read and write",
        todo="Give it the rights, or run the command as the user that owns the folder",
        code="WHS-011",
    )


def warehouse_disk_full(path: Path) -> UserError:
    return disk_full(
        WarehouseError,
        where=str(path),
        kept="what was written before is whole, files not read yet stay in incoming/",
        code="WHS-010",
    )


def _damaged(path: Path) -> WarehouseError:
    return WarehouseError(
        "the file cannot be opened as a warehouse",
        where=str(path),
        expected="a warehouse written by this program or an older one",
        todo="Restore it from your backup, or move it away and read the export files again",
        code="WHS-003",
    )


def create_tables(con: duckdb.DuckDBPyConnection) -> None:
    con.execute("BEGIN")
    for statement in create_statements():
        con.execute(statement)
    con.execute("INSERT INTO meta VALUES (1, 'schema_version', ?)", [str(SCHEMA_VERSION)])
    con.execute("COMMIT")


def check_version(con: duckdb.DuckDBPyConnection, path: Path) -> None:
    try:
        found = con.sql("SELECT value FROM meta WHERE key = 'schema_version'").fetchall()
    except duckdb.CatalogException:
        found = []
    if not found:
        raise _damaged(path)
    if found[0][0] != str(SCHEMA_VERSION):
        raise WarehouseError(
            f"the warehouse has version {found[0][0]}",
            where=str(path),
            expected=f"version {SCHEMA_VERSION}",
            todo="Install the newer program that wrote it; nothing was changed",
            code="WHS-004",
        )
