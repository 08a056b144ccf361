"""What several folders of tests share."""

from pathlib import Path

import pytest
from filelock import FileLock

from qa.cli import main


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
