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
    shared = tmp_path_factory.getbasetemp()
    if worker_id != "master":
        shared = shared.parent
    folder = shared / "published_demo"
    with FileLock(shared / "published_demo.lock"):
        if not (folder / "snapshots" / "current.json").exists():
            assert main(["demo", str(folder), "--no-serve"], {}) == 0
    return folder
