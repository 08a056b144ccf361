"""A PostgreSQL server of one's own: Debian's programs, a temporary folder, loopback only."""

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg

_DEBIAN = sorted(Path("/usr/lib/postgresql").glob("*/bin"))
PACKAGE = "postgresql"
"""The Debian package that has the server."""


def find_programs() -> Path | None:
    """Folder with initdb and postgres; None where no server is installed."""
    found = shutil.which("initdb")
    if found:
        return Path(found).resolve().parent
    return _DEBIAN[-1] if _DEBIAN else None


def as_user(command: list[str]) -> list[str]:
    """PostgreSQL refuses to run as root; Debian's package makes a user for it."""
    if os.getuid():
        return command
    return ["setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups", *command]


def _free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


@contextmanager
def running_server(programs: Path, *, is_durable: bool) -> Iterator[str]:
    """A server for the time of the block; yields its URL without a database.

    is_durable: flush each commit to the disk, as a real server does; tests do without.
    """
    folder = Path(tempfile.mkdtemp(prefix="elastoqa-postgres-"))
    try:
        if not os.getuid():
            shutil.chown(folder, "postgres", "postgres")
        data, port = folder / "data", _free_port()
        initdb = [str(programs / "initdb"), "-D", str(data), "-U", "tester", "--auth=trust"]
        _run([*initdb, "--no-sync", "--encoding=UTF8", "--locale=C"], folder)
        options = [f"-p{port}", "-clisten_addresses=127.0.0.1", f"-k{folder}"]
        options += ["-cmax_connections=60"]
        options += [] if is_durable else ["-cfsync=off", "-csynchronous_commit=off"]
        control = [str(programs / "pg_ctl"), "-D", str(data), "-w", "-t", "60"]
        log = ["-l", str(folder / "log"), "-o", " ".join(options)]
        _run([*control, *log, "start"], folder)
        try:
            yield f"postgresql://tester@127.0.0.1:{port}"
        finally:
            _run([*control, "-m", "immediate", "stop"], folder)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _run(command: list[str], folder: Path) -> None:
    subprocess.run(
        as_user(command),
        check=True,
        cwd=folder,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        env={**os.environ, "LC_ALL": "C"},
    )


def make_database(server: str, name: str) -> str:
    """A new, empty database; returns its URL."""
    with psycopg.connect(f"{server}/postgres", autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"'.encode())
    return f"{server}/{name}"


def empty_database(url: str) -> None:
    """End whatever is still connected, and remove all tables."""
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
            "WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )
        connection.execute("DROP SCHEMA public CASCADE")
        connection.execute("CREATE SCHEMA public")
