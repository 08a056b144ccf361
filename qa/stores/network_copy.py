"""What belongs to a network and goes into its backup, held still while it is copied.

Exports under incoming/ hold names and numbers of patients and stay out. The pseudonym key stays out
unless it is asked for.
"""

import io
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import IO

import duckdb

from qa.model.errors import BackupError
from qa.stores.followup.copying import copied, count_copy
from qa.stores.key import KEY_FILE
from qa.stores.settings import NetworkFolder
from qa.stores.snapshots import POINTER, list_snapshot_ids
from qa.stores.warehouse import open_warehouse
from qa.stores.warehouse_lock import WAIT_SECONDS

ISSUES = "*/*/issue-*/*"
"""Packs and their manifests: month, site, issue, file."""


@contextmanager
def network_at_rest(
    root: NetworkFolder, *, key: bytes | None, wait_seconds: float = WAIT_SECONDS
) -> Iterator[tuple[list[tuple[str, IO[bytes]]], dict[str, int]]]:
    """Open files of a network, from one moment: nobody writes or publishes while they are open.

    Screens go on, since they read published snapshots, which never change.

    Args: key: the pseudonym key, where it is to be among the files.
    Yields: (name from the network folder on, open file) of each, and what is counted: rows of
        each table of the warehouse, snapshots and packs.
    Raises: WarehouseError when the warehouse stays busy.
    """
    with ExitStack() as handles, ExitStack() as lock:
        rows = {}
        if root.warehouse.exists():
            warehouse = lock.enter_context(
                open_warehouse(root.warehouse, wait_seconds=wait_seconds)
            )
            rows = count_rows(warehouse._con)
            # What lies in the write-ahead log moves into the file, which is all that is copied.
            warehouse._con.execute("CHECKPOINT")
        paths = _paths_of(root)
        followup: list[tuple[str, IO[bytes]]] = []
        if root.followup.exists():
            copy = handles.enter_context(copied(root.followup))
            rows |= count_copy(copy)
            followup = [(root.followup.name, handles.enter_context(copy.open("rb")))]
        # `lock` is left before `handles`: a handle on the warehouse that is closed earlier would
        # take DuckDB's lock along, since the system keeps one lock for the whole process.
        files = [handles.enter_context(path.open("rb")) for path in paths]
        names = [path.relative_to(root.root).as_posix() for path in paths]
        named: list[tuple[str, IO[bytes]]] = followup + list(zip(names, files, strict=True))
        if key is not None:
            named.insert(0, (KEY_FILE, io.BytesIO(key + b"\n")))
        yield named, {**rows, **_count_files(root)}


def _paths_of(root: NetworkFolder) -> list[Path]:
    """In the order of the archive; network.toml comes last, so nothing is a network before it."""
    single = [root.warehouse, root.snapshots / POINTER, root.network_file]
    many = [
        *root.profiles.glob("*.toml"),
        *(root.snapshots / f"{one}.duckdb" for one in list_snapshot_ids(root.snapshots)),
        *(path for path in root.packs.glob(ISSUES) if path.suffix in (".pdf", ".json")),
    ]
    return [*sorted(many), *(path for path in single if path.exists())]


def count_rows(con: duckdb.DuckDBPyConnection) -> dict[str, int]:
    """How many rows each table holds."""
    tables = con.sql("SELECT table_name FROM duckdb_tables() ORDER BY table_name").fetchall()
    return {
        f"rows of {name}": con.sql(f'SELECT count(*) FROM "{name}"').fetchall()[0][0]
        for (name,) in tables
    }


def count_network(root: NetworkFolder) -> dict[str, int]:
    """What network_at_rest counts, of a network that nobody uses yet.

    Raises: BackupError BAK-009 when its warehouse cannot be opened.
    """
    rows = {}
    if root.warehouse.exists():
        try:
            with duckdb.connect(str(root.warehouse), read_only=True) as con:
                rows = count_rows(con)
        except duckdb.Error:
            raise _cannot_open(root.warehouse.name) from None
    if root.followup.exists():
        try:
            rows |= count_copy(root.followup)
        except OSError:
            raise _cannot_open(root.followup.name) from None
    return {**rows, **_count_files(root)}


def _cannot_open(name: str) -> BackupError:
    return BackupError(
        f"this program cannot open the {'follow-up store' if 'followup' in name else 'warehouse'} "
        "of the backup",
        where=name,
        expected="a backup made by this version of the program or an older one",
        todo="Install the version that made it; nothing was changed",
        code="BAK-009",
    )


def _count_files(root: NetworkFolder) -> dict[str, int]:
    packs = [path for path in root.packs.glob(ISSUES) if path.suffix == ".pdf"]
    return {"snapshots": len(list_snapshot_ids(root.snapshots)), "packs": len(packs)}
