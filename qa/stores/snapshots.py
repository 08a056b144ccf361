"""Published snapshots, opened for reading: one immutable DuckDB file each (see publishing)."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache
from pathlib import Path

import duckdb
import polars as pl

from qa.model.case_mix_schemas import CASE_MIX_SCHEMAS
from qa.model.definitions import Network
from qa.model.equipment_schemas import EQUIPMENT_EVENTS
from qa.model.errors import SnapshotError
from qa.model.integrity import INTEGRITY
from qa.model.parsing import parse_network
from qa.model.practice_schema import PRACTICE_MONTHS
from qa.model.published import Definitions
from qa.model.schemas import (
    ASSESSMENTS,
    BASELINES,
    CHART_POINTS,
    EXAMS,
    FILES,
    FUNNEL_POINTS,
    GRADE_COUNTS,
    INTAKE_MONTHS,
    MONTHLY_COUNTS,
    QUARANTINED,
    ROW_COUNTS,
    SIGNALS,
    Schema,
)
from qa.stores.definitions import parse_definition_texts
from qa.stores.kept_frames import KeptFrames

FORMAT_VERSION = 1
POINTER = "current.json"
REMOVED_FACT = "removed_rows"
"""Key of meta rows that say how many rows were taken out of a snapshot later, and when."""
_CATALOG = "published"
"""What an open snapshot is called; cursors know no other catalogue by a short name."""

JUDGED_EXAMS = Schema(
    "exams",
    "One row per current exam that is not retracted, with its assessment.",
    ("exam_key",),
    EXAMS.columns + tuple(one for one in ASSESSMENTS.columns if one.name not in EXAMS.names),
)

PUBLISHED_SCHEMAS: dict[str, Schema] = {
    schema.name: schema
    for schema in (
        MONTHLY_COUNTS,
        ROW_COUNTS,
        GRADE_COUNTS,
        CHART_POINTS,
        FUNNEL_POINTS,
        BASELINES,
        SIGNALS,
        FILES,
        QUARANTINED,
        JUDGED_EXAMS,
        INTAKE_MONTHS,
        EQUIPMENT_EVENTS,
        PRACTICE_MONTHS,
        INTEGRITY,
        *CASE_MIX_SCHEMAS,
    )
}


@dataclass(frozen=True)
class Snapshot:
    """One published snapshot, open for reading (implements qa.model.published.Published).

    Safe to use from several threads: every call takes a cursor of its own.
    """

    snapshot_id: str
    published_at: datetime
    software_version: str
    network: Network
    definitions: Definitions
    digest: str
    _connection: duckdb.DuckDBPyConnection = field(repr=False)
    _kept: KeptFrames = field(default_factory=KeptFrames, repr=False, compare=False)

    def frame(self, name: str, **equal_to: object) -> pl.DataFrame:
        """Rows of a published frame that equal the given values, in the order of its key.

        In a snapshot of an older program a frame that it had not is empty, and so is a column;
        counts are 0 there, flags false and sentences "".

        Raises: KeyError when there is no such frame or column (our bug).
        """
        key = (name, *((column, _as_key(wanted)) for column, wanted in sorted(equal_to.items())))
        return self._kept.find(key, lambda: self._read(name, equal_to))

    def _read(self, name: str, equal_to: Mapping[str, object]) -> pl.DataFrame:
        schema = PUBLISHED_SCHEMAS[name]
        conditions, values = _conditions(schema, equal_to)
        cursor = self._connection.cursor()
        try:
            known = _columns_of(cursor, name)
            if not known:
                return schema.empty()
            query = f"select {_select_list(schema, known)} from {_CATALOG}.{name}{conditions}"
            query += f" order by {', '.join(schema.key)}"
            return schema.conform(cursor.sql(query, params=values).pl())
        finally:
            cursor.close()

    def removed_rows(self) -> tuple[str, ...]:
        """Removals of one person's exam rows on request since it was published, in words."""
        query = f"select value from {_CATALOG}.meta where key = '{REMOVED_FACT}' order by value"
        return tuple(value for (value,) in self._connection.cursor().sql(query).fetchall())

    def rule_texts(self) -> tuple[str, dict[str, dict[str, str]]]:
        """network.toml and the definition files that judged, as they were then."""
        query = f"select key, value from {_CATALOG}.meta where contains(key, '_text')"
        meta = dict(self._connection.cursor().sql(query).fetchall())
        return meta["network_text"], json.loads(meta["definition_texts"])

    def close(self) -> None:
        self._connection.close()


def _as_key(wanted: object) -> object:
    """Several values count by what they are, not by their order."""
    return frozenset(wanted) if isinstance(wanted, list | tuple | set | frozenset) else wanted


def _columns_of(cursor: duckdb.DuckDBPyConnection, table: str) -> set[str]:
    query = "select column_name from duckdb_columns() where database_name = ? and table_name = ?"
    return {name for (name,) in cursor.sql(query, params=[_CATALOG, table]).fetchall()}


def _select_list(schema: Schema, known: set[str]) -> str:
    missing = {pl.Int64: "0", pl.Boolean: "false", pl.String: "''"}
    return ", ".join(
        column.name
        if column.name in known
        else f"{'null' if column.is_nullable else missing[column.dtype]} as {column.name}"  # type: ignore[index]
        for column in schema.columns
    )


def _conditions(schema: Schema, equal_to: Mapping[str, object]) -> tuple[str, list[object]]:
    parts: list[str] = []
    values: list[object] = []
    for column, wanted in equal_to.items():
        if column not in schema.names:
            raise KeyError(f"{schema.name} has no column {column}")
        if isinstance(wanted, list | tuple | set | frozenset):
            choices = list(wanted)
            parts.append(f"{column} in ({', '.join('?' * len(choices))})" if choices else "false")
            values += choices
        elif wanted is None:
            parts.append(f"{column} is null")
        else:
            parts.append(f"{column} = ?")
            values.append(wanted)
    return (" where " + " and ".join(parts) if parts else ""), values


def read_pointer(snapshots: Path) -> dict[str, str] | None:
    """Id and digest of the snapshot in force; None where nothing was published yet.

    Raises: SnapshotError SNP-002 when the file that says so is damaged.
    """
    try:
        content = json.loads((snapshots / POINTER).read_text(encoding="utf-8"))
        return {"snapshot_id": str(content["snapshot_id"]), "digest": str(content["digest"])}
    except FileNotFoundError:
        return None
    except (ValueError, KeyError, TypeError):
        raise SnapshotError(
            "the file that names the current snapshot is damaged",
            where=f"snapshots/{POINTER}",
            todo="Run 'elastoqa refresh' to publish again",
            code="SNP-002",
        ) from None


def snapshot_file(snapshots: Path, snapshot_id: str) -> Path:
    """Where a snapshot lies, whether it is there or not."""
    return snapshots / f"{snapshot_id}.duckdb"


def current_snapshot_id(snapshots: Path) -> str | None:
    """Id of the snapshot in force; None where nothing was published yet."""
    pointer = read_pointer(snapshots)
    return pointer["snapshot_id"] if pointer else None


def current_file(snapshots: Path) -> tuple[str, int, int] | None:
    """What tells the file in force from any other: its id, inode and time of change.

    A removal on request puts another file in the place of a snapshot, under the same id.

    Raises: SnapshotError when it is missing. None where nothing was published yet.
    """
    snapshot_id = current_snapshot_id(snapshots)
    if snapshot_id is None:
        return None
    try:
        facts = snapshot_file(snapshots, snapshot_id).stat()
    except OSError:
        raise _missing(snapshots, snapshot_id) from None
    return snapshot_id, facts.st_ino, facts.st_mtime_ns


def _missing(snapshots: Path, snapshot_id: str) -> SnapshotError:
    return SnapshotError(
        f"snapshot {snapshot_id} is not there",
        where=snapshots.name,
        todo="Restore it from a backup, or publish again with 'elastoqa refresh'",
        code="SNP-003",
    )


def list_snapshot_ids(snapshots: Path) -> list[str]:
    """All snapshots, oldest first."""
    return sorted(path.stem for path in snapshots.glob("S*.duckdb"))


def open_current(root: Path) -> Snapshot:
    """The snapshot in force of a network folder.

    Raises: SnapshotError when nothing was published yet or the file cannot be read.
    """
    snapshot_id = current_snapshot_id(root / "snapshots")
    if snapshot_id is None:
        raise SnapshotError(
            "nothing is published yet",
            where=str(root),
            todo="Run 'elastoqa intake' and then 'elastoqa refresh'",
            code="SNP-001",
        )
    return open_snapshot(root, snapshot_id)


def open_snapshot(root: Path, snapshot_id: str) -> Snapshot:
    """A past or present snapshot by its id.

    Raises: SnapshotError when it is missing, damaged or of a newer version of the program.
    """
    path = snapshot_file(root / "snapshots", Path(snapshot_id).name)
    if not path.exists():
        raise _missing(path.parent, snapshot_id)
    try:
        connection = _connect(path)
        meta = dict(connection.sql(f"select key, value from {_CATALOG}.meta").fetchall())
    except duckdb.Error:
        raise SnapshotError(
            f"snapshot {snapshot_id} cannot be read",
            where=path.name,
            expected="a file written by 'elastoqa refresh'",
            todo="Restore it from a backup, or publish again with 'elastoqa refresh'",
            code="SNP-004",
        ) from None
    if int(meta["format_version"]) > FORMAT_VERSION:
        raise SnapshotError(
            "the snapshot was written by a newer version of the program",
            where=path.name,
            todo="Update the program",
            code="SNP-005",
        )
    return Snapshot(
        snapshot_id=meta["snapshot_id"],
        published_at=datetime.fromisoformat(meta["published_at"]),
        software_version=meta["software_version"],
        network=parse_network(meta["network_text"], where="network.toml of the snapshot"),
        definitions=_definitions_of(meta["definition_texts"]),
        digest=meta["digest"],
        _connection=connection,
    )


@lru_cache(maxsize=8)
def _definitions_of(text: str) -> Definitions:
    """Snapshots of one network mostly hold the same definitions; parsing them takes 0.1 s."""
    return parse_definition_texts(json.loads(text))


def _connect(path: Path) -> duckdb.DuckDBPyConnection:
    """The file as it is now. Connecting to it by its path would give an older file of that name
    that is still open in this process, and with it rows that were taken out since.
    """
    connection = duckdb.connect(":memory:", config={"threads": "1"})
    try:
        quoted = str(path).replace("'", "''")
        connection.execute(f"attach '{quoted}' as {_CATALOG} (read_only)")
        connection.execute("set enable_external_access = false")
        connection.execute("set timezone = 'UTC'")
    except duckdb.Error:
        connection.close()
        raise
    return connection
