"""Files of the network itself named as exports: refused before anything is opened."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from qa.jobs.intake import run_intake
from qa.jobs.profile import run_profile_suggest
from qa.model.errors import WrongUse
from qa.stores.own_files import refuse_own_files, refuse_warehouse_links
from qa.stores.settings import NetworkFolder
from qa.stores.warehouse import open_warehouse
from tests.robust.archives import AT
from tests.robust.network import KEY, file_text, make_network

OWN = {
    "warehouse.duckdb": "the warehouse",
    "warehouse.duckdb.version-1": "a part or copy of the warehouse",
    "warehouse.duckdb.wal": "a part or copy of the warehouse",
    "snapshots/S1.duckdb": "a published snapshot",
    "snapshots/current.json": "a published snapshot",
    "packs/2026-10/harbour/issue-1/a.pdf": "an audit pack",
    "profiles/plain.toml": "a profile",
    "network.toml": "network.toml itself",
    ".pseudonym_key": "the pseudonym key",
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = make_network(tmp_path / "network", n_files=1, n_rows=3)
    for name in OWN:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).touch()
    return folder


@pytest.fixture
def no_file_is_opened(folder: Path, monkeypatch: pytest.MonkeyPatch):
    """From here on, opening one of the network's own files for a look fails the test."""
    own = {str(folder / name) for name in OWN} - {str(folder / "network.toml")}
    works = os.open

    def guarded(path, *rest, **more):
        assert str(path) not in own
        return works(path, *rest, **more)

    monkeypatch.setattr("os.open", guarded)


@pytest.mark.parametrize("name", OWN)
@pytest.mark.parametrize("way", ["plain", "through a link", "round about"])
def test_run_intake_of_own_file_is_refused(
    folder: Path, tmp_path: Path, name: str, way: str, no_file_is_opened: None
) -> None:
    path = folder / name
    if way == "through a link":
        path = tmp_path / "export.csv"
        path.symlink_to(folder / name)
    if way == "round about":
        path = folder / "incoming" / ".." / name
    with pytest.raises(WrongUse, match="USE-030") as caught:
        run_intake(folder, files=[path], site_id="harbour", key=KEY.encode(), known_at=AT)
    assert f"{name}: this is {OWN[name]}, no export" in caught.value.message
    with pytest.raises(WrongUse, match="USE-030"):
        run_profile_suggest(folder, file=path, site_id="harbour")


def test_second_name_of_the_warehouse_is_refused_wherever_it_lies(folder: Path) -> None:
    os.link(folder / "warehouse.duckdb", folder / "incoming" / "harbour" / "october.csv")
    root = NetworkFolder(folder)
    with pytest.raises(WrongUse, match="the warehouse under another name"):
        refuse_warehouse_links(root, [folder / "incoming" / "harbour" / "october.csv"])
    with pytest.raises(WrongUse, match="the warehouse"):
        refuse_own_files(root, [folder / "incoming" / "harbour" / "october.csv"])


def test_exports_beside_and_outside_the_network_are_read(folder: Path, tmp_path: Path) -> None:
    for name in OWN:
        if name.startswith("warehouse"):
            (folder / name).unlink()
    paths = [folder / "new.csv", tmp_path / "other.csv", tmp_path / "warehouse.duckdb"]
    for number, path in enumerate(paths):
        path.write_text(file_text(50 + number, 2), encoding="utf-8")
    report = run_intake(folder, files=paths, site_id="harbour", key=KEY.encode(), known_at=AT)
    assert (report.is_clean, report.n_accepted) == (True, 6)


SECOND_WRITER = """
import sys
from pathlib import Path
from qa.stores.warehouse import open_warehouse
with open_warehouse(Path(sys.argv[1]), wait_seconds=0) as warehouse:
    print("got it")
"""


@pytest.mark.parametrize("is_opened", [False, True])
def test_closing_a_second_handle_would_end_the_lock(tmp_path: Path, is_opened: bool) -> None:
    """Why this matters: POSIX keeps one lock for a whole process (fcntl(2), close(2))."""
    path = tmp_path / "warehouse.duckdb"
    with open_warehouse(path, create=True):
        if is_opened:
            path.open("rb").close()
        done = subprocess.run(
            [sys.executable, "-c", SECOND_WRITER, str(path)],
            capture_output=True,
            text=True,
            check=False,
        )
    assert ("got it" in done.stdout) is is_opened
