"""kill -9 at random moments: nothing is lost, nothing is in twice, screens always have something.

A few here, in children that start at once; python -m tests.benchmarks kill-intake kills hundreds
that were started by name and prints what it met.
"""

import os
from pathlib import Path

import pytest

from qa.jobs.backup import run_restore
from tests.robust.archives import back_up
from tests.robust.killing import kill_intakes, kill_refreshes
from tests.robust.killing_backups import everything, kill_backups, kill_restores, make_published
from tests.robust.warm import warm_child


def test_intake_killed_at_random_moments_loses_nothing(tmp_path: Path) -> None:
    size = {"files_each": 3, "n_rows": 20, "n_sites": 3}
    toll = kill_intakes(tmp_path, n_kills=14, seed=1, start=warm_child, **size)
    assert toll.n_kills == 14


def test_refresh_killed_at_random_moments_always_leaves_a_readable_snapshot(
    tmp_path: Path,
) -> None:
    toll = kill_refreshes(tmp_path, n_kills=6, seed=1, n_rows=10, n_sites=2, start=warm_child)
    assert toll.n_kills >= 6


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("backups") / "network"
    return make_published(place, n_rows=20, start=warm_child)


def test_backup_killed_at_random_moments_leaves_a_whole_one_or_none(network: Path) -> None:
    assert kill_backups(network, n_kills=8, seed=1, start=warm_child).n_kills == 8


@pytest.mark.parametrize("is_new", [True, False])
def test_restore_killed_at_random_moments_leaves_a_whole_network_or_none(
    network: Path, is_new: bool
) -> None:
    toll = kill_restores(network, n_kills=6, seed=1, is_new=is_new, start=warm_child)
    assert toll.n_kills >= 6


@pytest.mark.parametrize("n_moved", range(4))
def test_restore_that_ended_between_two_renames_is_taken_back_by_the_next(
    network: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, n_moved: int
) -> None:
    """Every moment between the renames, which a random kill seldom meets."""
    archive, into = tmp_path / "a.tar.zst", tmp_path / "network"
    back_up(network, archive)
    (into / "incoming").mkdir(parents=True)
    (into / "notes.txt").write_text("mine")
    moved: list[str] = []
    works = os.rename

    def stop(source: str, target: str) -> None:
        if len(moved) == n_moved:
            raise KeyboardInterrupt
        moved.append(str(target))
        works(source, target)

    with monkeypatch.context() as patched:
        patched.setattr("os.rename", stop)
        patched.setattr("shutil.rmtree", lambda *_, **__: None)
        with pytest.raises(KeyboardInterrupt):
            run_restore(archive, into)
    assert len(moved) == n_moved
    assert not (into / "network.toml").exists()
    run_restore(archive, into)
    there = everything(into)
    assert there.pop("notes.txt") == b"mine"
    assert there["warehouse.duckdb"] == (network / "warehouse.duckdb").read_bytes()
    assert not list(into.glob(".restoring-*"))
