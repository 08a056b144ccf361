"""What several folders of tests share."""

import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest
from filelock import FileLock

from qa.cli import main
from qa.followup.trail import seal_entry
from qa.stores.followup.engine import ENVIRON_URL
from qa.stores.followup.store import open_followup
from tests.postgres import PACKAGE, find_programs, make_database, running_server


@pytest.fixture(scope="session")
def published_demo(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> Path:
    """The default demo network, made by the command: read, judged, published, with packs.

    Made once for all test processes; never change it, copy it first.
    """
    return _make_once(tmp_path_factory, worker_id, "published_demo")


@pytest.fixture(scope="session")
def published_second(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> Path:
    """The second scenario's network, made in the same way."""
    return _make_once(tmp_path_factory, worker_id, "published_second", "--scenario", "second")


def _make_once(
    tmp_path_factory: pytest.TempPathFactory, worker_id: str, name: str, *options: str
) -> Path:
    shared = tmp_path_factory.getbasetemp()
    if worker_id != "master":
        shared = shared.parent
    folder = shared / name
    with FileLock(shared / f"{name}.lock"):
        if not (folder / "snapshots" / "current.json").exists():
            assert main(["demo", str(folder), "--no-serve", *options], {}) == 0
    return folder


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """URL of a PostgreSQL server on loopback; skips where Debian's package is missing."""
    programs = find_programs()
    if programs is None:
        pytest.skip(f"no PostgreSQL server here (Debian's package {PACKAGE})")
    with running_server(programs, is_durable=False) as server:
        yield server


@pytest.fixture(scope="session")
def migrated_database(postgres_server: str) -> str:
    """Name of a database with all tables and no rows, to be copied."""
    url = make_database(postgres_server, "migrated")
    open_followup(Path(), setting=url, environ={}, seal=seal_entry).close()
    return "migrated"


@pytest.fixture(params=["sqlite", "postgresql"])
def followup_environ(request: pytest.FixtureRequest) -> dict[str, str]:
    """An environment that puts the follow-up store into a file, or into a fresh database."""
    if request.param == "sqlite":
        return {}
    server = request.getfixturevalue("postgres_server")
    like = request.getfixturevalue("migrated_database")
    return {ENVIRON_URL: make_database(server, f"t{uuid.uuid4().hex}", like=like)}
