"""A published network and a backup of it."""

import shutil
from pathlib import Path

import pytest

from qa.jobs.intake import run_intake
from qa.jobs.refresh import run_refresh
from qa.stores.pack_archive import archive_pack
from tests.robust.archives import AT, back_up
from tests.robust.network import KEY, make_network


@pytest.fixture(scope="session")
def published(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A network of 120 exams, published, with one pack. Never change it: copy it."""
    folder = make_network(tmp_path_factory.mktemp("backup") / "network", n_files=4, n_rows=30)
    run_intake(folder, key=KEY.encode(), known_at=AT)
    run_refresh(folder, at=AT, by="test", software_version="0")
    month = AT.date().replace(day=1)
    archive_pack(folder, month=month, site_id="harbour", number=1, pdf=b"%PDF", manifest=b"{}")
    return folder


@pytest.fixture
def folder(published: Path, tmp_path: Path) -> Path:
    return shutil.copytree(published, tmp_path / "network")


@pytest.fixture
def archive(folder: Path, tmp_path: Path) -> Path:
    back_up(folder, tmp_path / "a.tar.zst")
    return tmp_path / "a.tar.zst"
