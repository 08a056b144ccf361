"""A follow-up store on SQLite and on PostgreSQL, with a small kind of record to write."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from qa.jobs.followup.opening import open_record
from qa.stores.followup.store import FollowupStore
from tests.followup.notes import NETWORK_TEXT


@pytest.fixture
def network_folder(tmp_path: Path) -> Path:
    folder = tmp_path / "network"
    folder.mkdir()
    (folder / "network.toml").write_text(NETWORK_TEXT, encoding="utf-8")
    return folder


@pytest.fixture
def store(network_folder: Path, followup_environ: dict[str, str]) -> Iterator[FollowupStore]:
    opened = open_record(network_folder, environ=followup_environ)
    yield opened
    opened.close()
