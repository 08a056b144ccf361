"""The warehouse's file: opening it, its tables made from the schemas, and the views on them."""

import errno
import os
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from qa.model.case_mix_schemas import (
    CASE_MIX_COUNTS,
    EXPECTED_COUNTS,
    RISK_COEFFICIENTS,
    RISK_MODELS,
)
from qa.model.errors import UserError, WarehouseError
from qa.model.schemas import (
    ASSESSMENTS,
    BASELINES,
    EXAMS,
    FILES,
    GRADE_COUNTS,
    MONTH_CLOSES,
    MONTHLY_COUNTS,
    QUARANTINED,
    REMOVALS,
    ROWS_READ,
    SIGHTINGS,
    UTC_TIME,
    WITHDRAWALS,
    Schema,
)
from qa.stores.disk import disk_full, is_disk_full

SCHEMA_VERSION = 3

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
        "file_id": pl.String,
        "standing_version_no": pl.Int32,
    }
)

# Appended by the warehouse itself: the place in the order of transactions.
TABLES: tuple[tuple[Schema, str], ...] = (
    (FILES, "file_seq"),
    (EXAMS, "file_seq"),
    (QUARANTINED, "file_seq"),
    (ROWS_READ, "file_seq"),
    (SIGHTINGS, "file_seq"),
    (WITHDRAWALS, "file_seq"),
    (MONTH_CLOSES, "file_seq"),
    (REMOVALS, ""),
    (ASSESSMENTS, "refresh_seq"),
    (MONTHLY_COUNTS, "refresh_seq"),
    (GRADE_COUNTS, "refresh_seq"),
    (BASELINES, ""),
    (CASE_MIX_COUNTS, "refresh_seq"),
    (RISK_MODELS, ""),
    (RISK_COEFFICIENTS, ""),
    (EXPECTED_COUNTS, "expected_seq"),
)

_OTHER_TABLES = (
    "CREATE TABLE meta (meta_seq BIGINT NOT NULL, key VARCHAR NOT NULL, value VARCHAR NOT NULL)",
    """CREATE TABLE refreshes (refresh_seq BIGINT NOT NULL, refresh_id VARCHAR NOT NULL,
        refreshed_at TIMESTAMPTZ NOT NULL, rules_fingerprint VARCHAR NOT NULL,
        up_to_file_seq BIGINT NOT NULL, horizon_on DATE)""",
    "CREATE TABLE refresh_months (refresh_seq BIGINT NOT NULL, month DATE NOT NULL)",
    # Which months of a model were worked out, in which order, from which refresh's counts.
    """CREATE TABLE expected_months (expected_seq BIGINT NOT NULL, model_id VARCHAR NOT NULL,
        month DATE NOT NULL, refresh_seq BIGINT NOT NULL)""",
    # Persons whose rows stay out, by a keyed hash that no other table holds.
    "CREATE TABLE forgotten (hash VARCHAR NOT NULL)",
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

# A file's rows wait as its newest reading left them, until a file that arrived later holds the
# same exam of the same patient in a row that was accepted, or that equals an accepted one.
QUARANTINE_VIEWS = (
    """CREATE VIEW readings AS SELECT file_id, file_seq, profile_id, read_by, known_at,
        min(file_seq) OVER of_file AS arrival, max(file_seq) OVER of_file AS newest_seq
        FROM files ANTI JOIN withdrawn_readings USING (file_seq)
        WHERE state = 'read' WINDOW of_file AS (PARTITION BY file_id)""",
    """CREATE VIEW newest_readings AS SELECT file_id, file_seq, arrival FROM readings
        WHERE file_seq = newest_seq""",
    """CREATE VIEW right_rows AS SELECT exam_key, patient_key, exams.file_id, exams.file_seq,
        arrival FROM exams JOIN newest_readings USING (file_id)
        UNION ALL
        SELECT exam_key, patient_key, seen.file_id, seen.file_seq, arrival
        FROM sightings AS seen JOIN exams USING (exam_key, version_no)
        JOIN newest_readings AS newest ON newest.file_id = seen.file_id""",
    """CREATE VIEW current_quarantined AS SELECT waiting.*
        FROM quarantined AS waiting JOIN newest_readings AS reading USING (file_id, file_seq)
        WHERE NOT EXISTS (SELECT 1 FROM right_rows AS done WHERE done.exam_key = waiting.exam_key
            AND done.arrival > reading.arrival
            AND (waiting.patient_key IS NULL OR done.patient_key = waiting.patient_key))""",
    # The last time that a row was held back, and what came right after it: the next reading of
    # its file, or else the first later file that holds the exam.
    """CREATE VIEW last_held AS SELECT held.*, reading.arrival FROM quarantined AS held
        JOIN readings AS reading USING (file_id, file_seq)
        QUALIFY row_number() OVER (PARTITION BY file_id, row_no ORDER BY held.file_seq DESC) = 1""",
    """CREATE VIEW resolutions AS SELECT found.file_id, row_no, site_id, codes, how,
            by_file_id, reading.profile_id, read_by, reading.known_at
        FROM (SELECT held.file_id, row_no, site_id, codes, 'read again' AS how,
                held.file_id AS by_file_id, min(later.file_seq) AS by_seq
            FROM last_held AS held JOIN readings AS later ON later.file_id = held.file_id
                AND later.file_seq > held.file_seq GROUP BY ALL
            UNION ALL
            SELECT held.file_id, row_no, site_id, codes, 'another file' AS how,
                arg_min(done.file_id, done.file_seq) AS by_file_id, min(done.file_seq) AS by_seq
            FROM last_held AS held
            JOIN newest_readings AS newest USING (file_id, file_seq)
            JOIN right_rows AS done ON done.exam_key = held.exam_key
                AND done.arrival > held.arrival
                AND (held.patient_key IS NULL OR done.patient_key = held.patient_key)
            GROUP BY held.file_id, row_no, site_id, codes) AS found
        JOIN readings AS reading ON reading.file_seq = by_seq""",
)

_LAST_SEQ = "(SELECT coalesce(max(up_to_file_seq), 0) FROM refreshes WHERE refreshed_at <= ?)"
TOUCHED_EXAMS = f"""SELECT exam_key FROM exams WHERE file_seq > {_LAST_SEQ}
    UNION SELECT exam_key FROM exams SEMI JOIN (
        SELECT file_id FROM withdrawals WHERE file_seq > {_LAST_SEQ}) USING (file_id)"""
"""Exams with a new version, or of files withdrawn, since the newest refresh by a moment (asked for
twice)."""

_VIEWS = (
    # Facts in the order of their transactions, whatever kind they are of.
    """CREATE VIEW facts AS SELECT file_seq FROM files UNION ALL SELECT file_seq FROM withdrawals
        UNION ALL SELECT file_seq FROM month_closes""",
    # A file is withdrawn as sent by one site; the same bytes may be read as sent by another.
    """CREATE VIEW withdrawn_files AS SELECT file_id, site_id FROM withdrawals
        GROUP BY file_id, site_id HAVING arg_max(is_withdrawn, file_seq)""",
    """CREATE VIEW withdrawn_readings AS SELECT file_seq FROM files
        SEMI JOIN withdrawn_files AS gone ON gone.file_id = files.file_id
            AND gone.site_id IS NOT DISTINCT FROM files.site_id""",
    # A version stands while one of the readings that held it does.
    """CREATE VIEW standing_exams AS
        SELECT exams.* FROM exams ANTI JOIN withdrawn_readings USING (file_seq)
        UNION ALL
        SELECT exams.* FROM exams SEMI JOIN withdrawn_readings USING (file_seq)
        SEMI JOIN (SELECT exam_key, version_no FROM sightings
            ANTI JOIN withdrawn_readings USING (file_seq)) USING (exam_key, version_no)""",
    # Corrections are few, so the side that is looked up is small.
    """CREATE VIEW current_exams AS SELECT * FROM standing_exams AS exam WHERE NOT EXISTS (
        SELECT 1 FROM standing_exams AS newer WHERE newer.version_no > 1
        AND newer.exam_key = exam.exam_key AND newer.version_no > exam.version_no)""",
    *QUARANTINE_VIEWS,
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


def table_statement(schema: Schema, sequence: str) -> str:
    columns = [
        f'"{column.name}" {sql_type(column.dtype)}{"" if column.is_nullable else " NOT NULL"}'
        for column in schema.columns
    ]
    columns += [f'"{sequence}" BIGINT NOT NULL'] if sequence else []
    return f"CREATE TABLE {schema.name} ({', '.join(columns)})"


def missing_table_statements(known: set[str]) -> list[str]:
    """Statements that make the tables that are not there yet, in order."""
    made = [(schema.name, table_statement(schema, sequence)) for schema, sequence in TABLES]
    made += [(statement.split()[2], statement) for statement in _OTHER_TABLES]
    return [statement for name, statement in made if name not in known]


def add_column_statements(schema: Schema, known: set[str]) -> list[str]:
    """Statements that add the columns that a table has not; counts begin at 0, flags at false."""
    statements = []
    for column in schema.columns:
        if column.name in known:
            continue
        add = f'ALTER TABLE {schema.name} ADD COLUMN "{column.name}" {sql_type(column.dtype)}'
        if column.is_nullable:
            statements.append(add)
            continue
        first = "false" if column.dtype == pl.Boolean else "0"
        change = f'ALTER TABLE {schema.name} ALTER COLUMN "{column.name}"'
        statements += [f"{add} DEFAULT {first}", f"{change} SET NOT NULL", f"{change} DROP DEFAULT"]
    return statements


def view_statements(*, temporary: bool = False) -> list[str]:
    """Statements that make the views, in order; temporary ones lie over those of the file."""
    make = "CREATE TEMP VIEW" if temporary else "CREATE VIEW"
    return [statement.replace("CREATE VIEW", make, 1) for statement in _VIEWS]


def create_statements() -> list[str]:
    """Statements that make an empty warehouse, in order."""
    return [*missing_table_statements(set()), *view_statements()]


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


def find_version(con: duckdb.DuckDBPyConnection, path: Path) -> int:
    """The version of the schema that the file has.

    Raises: WarehouseError when it is no warehouse, or one of a newer program.
    """
    try:
        found = con.sql(
            "SELECT value FROM meta WHERE key = 'schema_version' ORDER BY meta_seq DESC LIMIT 1"
        ).fetchall()
    except duckdb.CatalogException:
        found = []
    if not found:
        raise _damaged(path)
    version = int(found[0][0])
    if version > SCHEMA_VERSION:
        raise WarehouseError(
            f"the warehouse has version {version}",
            where=str(path),
            expected=f"version {SCHEMA_VERSION} or older",
            todo="Install the newer program that wrote it; nothing was changed",
            code="WHS-004",
        )
    return version


def look_back(con: duckdb.DuckDBPyConnection, moment: datetime) -> None:
    """Lay views over the tables that hold only what was known at a moment.

    A fact was known when its known_at (refreshed_at, set_at) is not after the moment. Views on the
    tables are made again over them, so that every question gets the answer of then.
    """
    catalog = con.sql("SELECT current_database()").fetchall()[0][0]
    known = {schema.name: "known_at" for schema, _ in TABLES if "known_at" in schema.names}
    known |= {"refreshes": "refreshed_at", "baselines": "set_at", "risk_models": "set_at"}
    for table, column in known.items():
        con.execute(
            f'CREATE TEMP VIEW {table} AS SELECT * FROM "{catalog}".main.{table} '
            f"WHERE {column} <= TIMESTAMPTZ '{moment.astimezone(UTC).isoformat()}'"
        )
    for statement in view_statements(temporary=True):
        con.execute(statement)
