"""Killing backups and restores at random moments; what then lies under the final names."""

import random
import shutil
from pathlib import Path

from qa.stores.backup_archive import unpack_archive
from qa.stores.network_copy import count_network
from qa.stores.settings import NetworkFolder
from qa.stores.warehouse import open_warehouse
from tests.robust.killing import Start, Toll, kill_one, make_wide_network, run_calm, start_by_name
from tests.robust.network import KEY

UNDER_WAY = (".restoring-", ".unfinished")


def make_published(folder: Path, *, n_rows: int, start: Start = start_by_name) -> Path:
    """A published network whose files are read."""
    make_wide_network(folder, files_each=1, n_rows=n_rows, n_sites=2)
    for word in ("intake", "refresh"):
        run_calm(folder, word, start=start)
    (folder / ".pseudonym_key").write_text(KEY)
    return folder


def kill_backups(folder: Path, *, n_kills: int, seed: int, start: Start = start_by_name) -> Toll:
    """Kill backups of a network.

    After each: under the archive's name is nothing, or a whole archive that agrees with its own
    manifest and with the network; the network is as it was and nobody holds it. The next backup
    of the same name clears away what was left.
    """
    chance, toll = random.Random(seed), Toll()
    place = folder.parent / "archives"
    place.mkdir()
    archive = place / "a.tar.zst"
    times = run_calm(folder, "backup", str(archive), start=start)
    wanted, before = unpack_archive(archive).counts, everything(folder)
    while toll.n_kills < n_kills:
        archive.unlink(missing_ok=True)
        words = ("backup", str(archive))
        if kill_one(folder, *words, times=times, chance=chance, start=start):
            toll.n_kills += 1
        else:
            toll.n_ended_before += 1
        if archive.exists():
            assert unpack_archive(archive).counts == wanted
        toll.seen["whole" if archive.exists() else "none"] += 1
        with open_warehouse(folder / "warehouse.duckdb", wait_seconds=0):
            pass
        assert everything(folder) == before
    archive.unlink(missing_ok=True)
    run_calm(folder, "backup", str(archive), start=start)
    assert [path.name for path in place.iterdir()] == [archive.name]
    return toll


def kill_restores(
    folder: Path, *, n_kills: int, seed: int, is_new: bool, start: Start = start_by_name
) -> Toll:
    """Kill restores into a new folder, or into one that holds incoming/ already.

    After each: there is no network, or the whole one; what was there before is there. The same
    command, given again, restores it.
    """
    chance, toll = random.Random(seed), Toll()
    archive = folder.parent / f"b-{is_new}.tar.zst"
    run_calm(folder, "backup", str(archive), start=start)
    place = folder.parent / f"places-{is_new}"
    into = place / "network"
    words = ("restore", str(archive), "--into", str(into))
    _make_place(into, is_new=is_new)
    times = run_calm(folder, *words, start=start)
    wanted = everything(into)
    while toll.n_kills < n_kills:
        shutil.rmtree(place)
        _make_place(into, is_new=is_new)
        for _ in range(chance.randint(1, 3)):
            if kill_one(folder, *words, times=times, chance=chance, start=start):
                toll.n_kills += 1
            else:
                toll.n_ended_before += 1
            is_whole = (into / "network.toml").exists()
            toll.seen["whole" if is_whole else "none"] += 1
            if is_whole:
                assert everything(into) == wanted
                assert count_network(NetworkFolder(into))["snapshots"] == 1
                break
            assert is_new or (into / "incoming" / "s0" / "kept.csv").exists()
            assert not is_new or not into.exists()
        if not (into / "network.toml").exists():
            run_calm(folder, *words, start=start)
        assert everything(into) == wanted
    return toll


def _make_place(into: Path, *, is_new: bool) -> None:
    into.parent.mkdir(exist_ok=True)
    if not is_new:
        (into / "incoming" / "s0").mkdir(parents=True)
        (into / "incoming" / "s0" / "kept.csv").write_text("kept")


def everything(folder: Path) -> dict[str, bytes]:
    """Every file but what is under way."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not any(sign in str(path) for sign in UNDER_WAY)
    }
