"""Bring an older warehouse forward: a copy of the file first, then all steps or none.

Version 1 → 2: new columns of the tables that were there, new tables (sightings, withdrawals,
closed months and those of the quarantine), all views anew. New counts are 0 and new flags false
until the next refresh, which judges and counts every month again because its rules have changed.
Version 2 → 3: counts of success rates by acquisition mode, in the same way; tables of the fair
comparison (case mix, models, expected events).
"""

import os
import shutil
from pathlib import Path
from typing import BinaryIO

import duckdb

from qa.model.errors import WarehouseError
from qa.stores.warehouse_tables import (
    SCHEMA_VERSION,
    TABLES,
    add_column_statements,
    missing_table_statements,
    view_statements,
)

# Before a withdrawal named its site, the same bytes were never read under two.
_SITES_OF_WITHDRAWALS = """UPDATE withdrawals SET site_id = (SELECT arg_max(site_id, file_seq)
    FROM files WHERE files.file_id = withdrawals.file_id AND state = 'read')"""


def bring_forward(
    con: duckdb.DuckDBPyConnection, path: Path, *, from_version: int, source: BinaryIO
) -> Path:
    """Bring an open warehouse to SCHEMA_VERSION.

    Args:
        source: the warehouse's file, open for reading; the caller closes it only after `con`.
            The lock belongs to the process: closing any handle of the file would end it.

    Returns: the copy of the file as it was before.
    Raises: WarehouseError when there is no room for the copy; nothing is changed then.
    """
    copy = _copy_before(con, path, from_version=from_version, source=source)
    con.execute("BEGIN")
    try:
        for name in _views(con):
            con.execute(f'DROP VIEW IF EXISTS "{name}"')
        known = _columns(con)
        for statement in missing_table_statements(set(known)):
            con.execute(statement)
        for schema, _ in TABLES:
            if schema.name in known:
                for statement in add_column_statements(schema, known[schema.name]):
                    con.execute(statement)
        if "site_id" not in known.get("withdrawals", {"site_id"}):
            con.execute(_SITES_OF_WITHDRAWALS)
        if "horizon_on" not in known["refreshes"]:
            con.execute("ALTER TABLE refreshes ADD COLUMN horizon_on DATE")
        for statement in view_statements():
            con.execute(statement)
        con.execute(
            "INSERT INTO meta SELECT max(meta_seq) + 1, 'schema_version', ? FROM meta",
            [str(SCHEMA_VERSION)],
        )
    except BaseException:
        con.execute("ROLLBACK")
        raise
    con.execute("COMMIT")
    return copy


def is_complete(con: duckdb.DuckDBPyConnection) -> bool:
    """Every table of this version is there with every column, and every view."""
    known = _columns(con)
    has_tables = not missing_table_statements(set(known))
    has_views = {statement.split()[2] for statement in view_statements()} <= set(_views(con))
    return (
        has_tables
        and has_views
        and all(set(schema.names) <= known[schema.name] for schema, _ in TABLES)
    )


def _columns(con: duckdb.DuckDBPyConnection) -> dict[str, set[str]]:
    rows = con.sql(
        "SELECT table_name, list(column_name) FROM duckdb_columns() "
        "WHERE NOT internal AND database_name = current_database() "
        "AND table_name IN (SELECT table_name FROM duckdb_tables()) GROUP BY table_name"
    ).fetchall()
    return {name: set(columns) for name, columns in rows}


def _views(con: duckdb.DuckDBPyConnection) -> list[str]:
    return [
        row[0]
        for row in con.sql("SELECT view_name FROM duckdb_views() WHERE NOT internal").fetchall()
    ]


def _copy_before(
    con: duckdb.DuckDBPyConnection, path: Path, *, from_version: int, source: BinaryIO
) -> Path:
    """A whole copy beside the warehouse, under a name that was never used."""
    con.execute("CHECKPOINT")
    stem = f"{path.name}.version-{from_version}"
    number = 1
    while (copy := path.with_name(stem + (f"-{number}" if number > 1 else ""))).exists():
        number += 1
    unfinished = copy.with_name(copy.name + ".unfinished")
    try:
        source.seek(0)
        with unfinished.open("wb") as file:
            shutil.copyfileobj(source, file)
            file.flush()
            os.fsync(file.fileno())
        os.replace(unfinished, copy)
    except OSError as problem:
        unfinished.unlink(missing_ok=True)
        raise WarehouseError(
            f"it has to be brought to a newer version, and no copy can be made first "
            f"({problem.strerror or problem})",
            where=str(path),
            todo="Make room for a second copy of the file, then try again; nothing was changed",
            code="WHS-005",
        ) from None
    return copy
