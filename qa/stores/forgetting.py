"""Remove one person's rows so that their bytes are gone: the only place where anything is deleted.

A deleted row stays in the pages of a database file until they are written over. So the file is
written anew without it, flushed, and put in the place of the old one.
"""

import os
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import duckdb
import polars as pl

from qa.model.errors import WarehouseError
from qa.model.schemas import REMOVALS
from qa.stores.warehouse import Warehouse

_OF_PERSON = "(SELECT exam_key, version_no FROM exams WHERE patient_key = $person)"


@dataclass(frozen=True)
class Removed:
    """How many rows a removal took out of the warehouse, and which files held them.

    file_ids: for the one who asked, so that the files themselves can be mended; kept nowhere.
    """

    n_exam_versions: int
    n_exams: int
    n_quarantined: int
    file_ids: tuple[str, ...]

    @property
    def n_rows(self) -> int:
        return self.n_exam_versions + self.n_quarantined


def remove_person(warehouse: Warehouse, *, patient_key: str, hidden_key: str) -> Removed:
    """Delete a person's exams, their verdicts and their rows in quarantine, in one transaction.

    Counts, baselines and readings of files stay as they are.

    Args:
        hidden_key: a keyed hash that nothing else holds; rows of this person stay out from now on.
    Returns: what was removed; nothing the second time.
    """
    person = {"person": patient_key}
    with warehouse._transaction():
        removed = _count(warehouse, person)
        # Rows without a readable patient are the person's where the exam is.
        _delete(
            warehouse,
            "quarantined",
            "patient_key = $person OR (patient_key IS NULL AND exam_key IN "
            "(SELECT exam_key FROM exams WHERE patient_key = $person))",
            person,
        )
        for table in _tables_with(warehouse, "exam_key", "version_no"):
            if table != "exams":
                _delete(warehouse, table, f"(exam_key, version_no) IN {_OF_PERSON}", person)
        _delete(warehouse, "exams", "patient_key = $person", person)
        warehouse._con.execute(
            "INSERT INTO forgotten SELECT $hash WHERE NOT EXISTS "
            "(SELECT 1 FROM forgotten WHERE hash = $hash)",
            {"hash": hidden_key},
        )
    return removed


def _count(warehouse: Warehouse, person: dict[str, str]) -> Removed:
    exams = warehouse._query(
        "SELECT exam_key, file_id FROM exams WHERE patient_key = $person", person
    )
    waiting = warehouse._query(
        """SELECT file_id FROM quarantined WHERE patient_key = $person OR (patient_key IS NULL
        AND exam_key IN (SELECT exam_key FROM exams WHERE patient_key = $person))""",
        person,
    )
    files = pl.concat([exams["file_id"], waiting["file_id"]]).unique().sort()
    return Removed(
        exams.height, exams["exam_key"].n_unique(), waiting.height, tuple(files.to_list())
    )


def _tables_with(warehouse: Warehouse, *columns: str) -> list[str]:
    """Tables, of this version or a later one, that hold all of these columns."""
    return warehouse._first_column(
        """SELECT table_name FROM duckdb_columns() JOIN duckdb_tables() USING (table_name)
        WHERE column_name IN (SELECT unnest(?)) GROUP BY table_name
        HAVING count(DISTINCT column_name) = ? ORDER BY table_name""",
        [list(columns), len(columns)],
    )


def _delete(warehouse: Warehouse, table: str, test: str, person: dict[str, str]) -> None:
    warehouse._con.execute(f"DELETE FROM {table} WHERE {test}", person)


def note_removal(
    warehouse: Warehouse,
    removed: Removed,
    *,
    n_snapshots: int,
    reason: str | None,
    by: str,
    at: datetime,
) -> None:
    """Write down that rows were removed, how many, when and why; not whose."""
    row = {
        "n_exam_versions": removed.n_exam_versions,
        "n_exams": removed.n_exams,
        "n_quarantined": removed.n_quarantined,
        "n_snapshots": n_snapshots,
        "reason": reason,
        "removed_by": by,
        "removed_at": at,
    }
    frame = REMOVALS.conform(pl.DataFrame([row], schema=REMOVALS.to_polars()))
    with warehouse._transaction():
        warehouse._insert("removals", REMOVALS, frame)


def removals(warehouse: Warehouse) -> pl.DataFrame:
    """REMOVALS, in the order in which they were done."""
    return warehouse._rows(REMOVALS, "removals ORDER BY removed_at")


def forgotten_hashes(warehouse: Warehouse) -> set[str]:
    """Keyed hashes of persons whose rows stay out."""
    return set(warehouse._first_column("SELECT hash FROM forgotten"))


def write_warehouse_anew(warehouse: Warehouse, path: Path) -> None:
    """Put a copy without deleted rows in the place of the file, while it is open and locked.

    The warehouse must be closed next: what is written to it afterwards is lost.

    Raises: WarehouseError when there is no room; the rows are deleted then, but not their bytes.
    """
    try:
        _write_anew(warehouse._con, path)
    except OSError as problem:
        raise WarehouseError(
            f"the file cannot be written anew ({problem.strerror or problem})",
            where=str(path),
            todo="The rows are out of the warehouse, but their bytes may still be in the file. "
            "Make room for a second copy and run the same command again",
            code="WHS-008",
        ) from None


def _write_anew(con: duckdb.DuckDBPyConnection, path: Path) -> None:
    fresh = path.with_name(path.name + ".unfinished")
    fresh.unlink(missing_ok=True)
    try:
        con.execute("CHECKPOINT")
        [(name,)] = con.sql("SELECT current_database()").fetchall()
        con.execute(f"ATTACH {_quoted(fresh)} AS written_anew")
        con.execute(f'COPY FROM DATABASE "{name}" TO written_anew')
        con.execute("CHECKPOINT written_anew")
        con.execute("DETACH written_anew")
        with fresh.open("rb+") as file:
            os.fsync(file.fileno())
        os.replace(fresh, path)
    except BaseException as problem:
        fresh.unlink(missing_ok=True)
        fresh.with_name(fresh.name + ".wal").unlink(missing_ok=True)
        if isinstance(problem, duckdb.IOException):
            raise OSError(str(problem).splitlines()[0]) from None
        raise


def _quoted(path: Path) -> str:
    text = str(path).replace("'", "''")
    return f"'{text}'"
