"""Connections that write one after the other and lose nothing.

SQLite: BEGIN IMMEDIATE takes the one write lock at once (a transaction that reads first and writes
later fails when others write), the busy timeout waits for it, synchronous FULL flushes each commit.
PostgreSQL: an advisory lock does the same, since the chain needs one writer at a time.
Never put the SQLite file on a network share: its locks do not hold there.
"""

import importlib.util
from collections.abc import Mapping
from pathlib import Path
from urllib.parse import urlsplit

import sqlalchemy as sa
from sqlalchemy import event
from sqlalchemy.engine import Connection, Engine

from qa.model.errors import FollowupError

ENVIRON_URL = "ELASTOQA_FOLLOWUP_URL"
FILE_NAME = "followup.sqlite"
BUSY_MS = 60_000
READS_ONLY = "reads_only"
"""Execution option of connections that only read."""

_WRITERS_LOCK = 7_164_051_225
"""Any number; every program that writes to this store takes the advisory lock of that number."""


def followup_url(root: Path, *, setting: str, environ: Mapping[str, str]) -> sa.URL:
    """Where the store is: the environment's URL, else network.toml's, else a file in the folder.

    Raises: FollowupError FUP-001 when it is no PostgreSQL URL.
    """
    text = environ.get(ENVIRON_URL, "") or setting
    if not text:
        return sa.URL.create("sqlite", database=str(root / FILE_NAME))
    parts = urlsplit(text)
    if parts.scheme not in ("postgresql", "postgres") or not parts.path.strip("/"):
        raise FollowupError(
            "this is no address of a PostgreSQL database",
            where=ENVIRON_URL if environ.get(ENVIRON_URL) else "network.toml, followup_url",
            expected="postgresql://USER@HOST/DATABASE",
            code="FUP-001",
        )
    if parts.password and not environ.get(ENVIRON_URL):
        raise FollowupError(
            "followup_url holds a password",
            where="network.toml",
            expected="no password: network.toml is part of every snapshot",
            todo=f"Put the whole address into {ENVIRON_URL}, or the password into a .pgpass file",
            code="FUP-001",
        )
    return sa.make_url(text).set(drivername="postgresql+psycopg")


def make_engine(url: sa.URL) -> Engine:
    """An engine whose transactions take their lock at the beginning."""
    if url.get_backend_name() == "sqlite":
        engine = sa.create_engine(url, connect_args={"timeout": BUSY_MS / 1000})
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    else:
        _require_driver()
        engine = sa.create_engine(url, pool_pre_ping=True, pool_size=5, max_overflow=20)
        event.listen(engine, "begin", _begin_postgresql)
    return engine


def _require_driver() -> None:
    if importlib.util.find_spec("psycopg") is None:
        raise FollowupError(
            "the driver for PostgreSQL is not installed",
            expected="the package with its extra: pip install 'elastography-qa[postgres]'",
            code="FUP-015",
        )


def _prepare_sqlite(connection: object, _record: object) -> None:
    connection.isolation_level = None  # type: ignore[attr-defined]
    cursor = connection.cursor()  # type: ignore[attr-defined]
    cursor.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
    cursor.execute("PRAGMA synchronous = FULL")
    cursor.execute("PRAGMA foreign_keys = ON")
    cursor.execute("PRAGMA secure_delete = ON")
    cursor.close()


def _begin_sqlite(connection: Connection) -> None:
    is_reading = connection.get_execution_options().get(READS_ONLY)
    connection.exec_driver_sql("BEGIN" if is_reading else "BEGIN IMMEDIATE")


def _begin_postgresql(connection: Connection) -> None:
    if connection.get_execution_options().get(READS_ONLY):
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
    else:
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_WRITERS_LOCK})")
