"""What several folders of tests share."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from filelock import FileLock

from qa.cli import main
from qa.stores.followup.engine import ENVIRON_URL
from tests.postgres import (
    PACKAGE,
    empty_database,
    find_programs,
    make_database,
    running_server,
)


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
def postgres_database(postgres_server: str) -> str:
    return make_database(postgres_server, "tests")


@pytest.fixture(params=["sqlite", "postgresql"])
def followup_environ(request: pytest.FixtureRequest) -> dict[str, str]:
    """An environment that puts the follow-up store into a file, or into an empty database.

    One database serves all tests of a process, emptied for each: a copy for each is 7 MB.
    """
    if request.param == "sqlite":
        return {}
    url = request.getfixturevalue("postgres_database")
    empty_database(url)
    return {ENVIRON_URL: url}
