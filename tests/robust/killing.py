"""Killing real child processes at random moments, and looking at what they leave behind.

Moments are drawn over the whole life of the child, most of them while it reads or publishes. The
kill is SIGKILL: nothing of the program runs after it.
"""

import hashlib
import random
import shutil
import signal
import subprocess
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

import duckdb
import polars as pl

from qa.stores.snapshots import current_snapshot_id, list_snapshot_ids, open_current, open_snapshot
from qa.stores.warehouse import Warehouse, open_warehouse
from tests.robust.network import BLUEPRINT, ENVIRON, command, file_text

SITES, FILES_EACH, ROWS = 8, 6, 120
EARLY_SHARE = 0.15
"""Share of the kills that fall before the child says that it works."""

_BY_TIME = ("known_at", "file_seq", "refresh_seq")


@dataclass
class Toll:
    """How many were killed, and what they had done by then."""

    n_kills: int = 0
    n_ended_before: int = 0
    n_rounds: int = 0
    seen: Counter = field(default_factory=Counter)


def make_wide_network(
    folder: Path, *, files_each: int = FILES_EACH, n_rows: int = ROWS, n_sites: int = SITES
) -> Path:
    """A network of several sites with a profile each, so that an intake is several batches.

    Every fifth row of a file cannot be accepted, so quarantine fills too.
    """
    text = (BLUEPRINT / "network" / "profiles" / "plain.toml").read_text(encoding="utf-8")
    (folder / "profiles").mkdir(parents=True, exist_ok=True)
    lines = ['id = "wide"\nname = "Wide (invented)"\nis_invented = true\n']
    lines.append('[[criteria]]\nid = "common-practice.v1"\nfrom = 2020-01-01\n')
    for site in (f"s{number}" for number in range(n_sites)):
        lines.append(
            f'[[sites]]\nid = "{site}"\nname = "{site}"\ntime_zone = "UTC"\nprofile = "p{site}"\n'
            f'[[operators]]\nid = "{site}-a"\nsite = "{site}"\ncode = "A"\n'
            f'[[devices]]\nid = "{site}-1"\nsite = "{site}"\ncode = "D1"\ntechniques = ["TE"]\n'
        )
        profile = text.replace('id = "plain"', f'id = "p{site}"')
        (folder / "profiles" / f"p{site}.toml").write_text(profile, encoding="utf-8")
    (folder / "network.toml").write_text("\n".join(lines), encoding="utf-8")
    for number in range(n_sites * files_each):
        path = folder / "incoming" / f"s{number % n_sites}" / f"{number:04}.csv"
        path.parent.mkdir(parents=True, exist_ok=True)
        rows = file_text(number, n_rows).split("\n")
        rows[1::5] = [row.replace(",TE,S,", ",TE,?,") for row in rows[1::5]]
        path.write_text("\n".join(rows), encoding="utf-8")
    return folder


class Child(Protocol):
    """A running command; `output` is what it says of its work."""

    output: Any

    def send_signal(self, number: signal.Signals) -> None: ...
    def wait(self) -> int: ...


Start = Callable[..., AbstractContextManager[Child]]
"""Starts a command in a network folder: start(folder, *words)."""


class _NamedChild:
    def __init__(self, process: subprocess.Popen) -> None:
        self._process, self.output = process, process.stderr
        self.send_signal, self.wait = process.send_signal, process.wait


@contextmanager
def start_by_name(folder: Path, *words: str) -> Iterator[Child]:
    """As somebody types it: a program that imports all that it needs."""
    with subprocess.Popen(
        command(folder, *words),
        env=ENVIRON,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        yield _NamedChild(process)


def run_calm(folder: Path, *words: str, start: Start = start_by_name) -> tuple[float, float]:
    """One undisturbed run; seconds until it says that it works, and from then to its end."""
    began = time.monotonic()
    with start(folder, *words) as child:
        child.output.readline()
        works = time.monotonic()
        said = child.output.read()
        code = child.wait()
    assert code in (0, 13), f"exit code {code}: {said}"
    return works - began, time.monotonic() - works


def kill_one(
    folder: Path,
    *words: str,
    times: tuple[float, float],
    chance: random.Random,
    start: Start = start_by_name,
) -> bool:
    """Start a child and kill it at a random moment; False when it had ended by itself."""
    start_seconds, work_seconds = times
    with start(folder, *words) as child:
        if chance.random() < EARLY_SHARE:
            time.sleep(chance.uniform(0, start_seconds))
        else:
            child.output.readline()
            time.sleep(chance.uniform(0, 1.1 * work_seconds))
        child.send_signal(signal.SIGKILL)
        child.output.read()
        return child.wait() == -signal.SIGKILL


# Intake


def kill_intakes(
    place: Path,
    *,
    n_kills: int,
    seed: int,
    files_each: int = FILES_EACH,
    n_rows: int = ROWS,
    n_sites: int = SITES,
    start: Start = start_by_name,
) -> Toll:
    """Kill intakes of a folder of files until n_kills died, each going on where the last fell.

    After each: the warehouse opens and every row is in exactly once, or its file waits untouched
    in incoming/. Whenever a folder is through, it must hold the same as after a calm run.
    """
    chance, toll = random.Random(seed), Toll()
    calm = make_wide_network(place / "calm", files_each=files_each, n_rows=n_rows, n_sites=n_sites)
    times = run_calm(calm, "intake", start=start)
    sent, wanted = _hashes(calm / "incoming"), contents(calm)
    folder = place / "killed"
    while toll.n_kills < n_kills:
        toll.n_rounds += 1
        shutil.rmtree(folder, ignore_errors=True)
        make_wide_network(folder, files_each=files_each, n_rows=n_rows, n_sites=n_sites)
        while toll.n_kills < n_kills and count_read(folder) < len(sent):
            if kill_one(folder, "intake", times=times, chance=chance, start=start):
                toll.n_kills += 1
            else:
                toll.n_ended_before += 1
            assert _hashes(folder / "incoming") == sent
            toll.seen[_share_read(folder, len(sent))] += 1
        run_calm(folder, "intake", start=start)
        assert contents(folder) == wanted
    return toll


def _hashes(incoming: Path) -> dict[str, str]:
    return {
        path.relative_to(incoming).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(incoming.rglob("*.csv"))
    }


def count_read(folder: Path) -> int:
    """Files that are in, after looking that each is in whole and once."""
    path = folder / "warehouse.duckdb"
    if not path.exists():
        return 0
    with open_warehouse(path, create=True) as warehouse:
        return assert_whole_files(warehouse)


def assert_whole_files(warehouse: Warehouse) -> int:
    files = warehouse._query("SELECT * FROM files ORDER BY file_seq")
    assert files["file_id"].is_unique().all()
    assert files["state"].eq("read").all()
    parts = files.select(pl.sum_horizontal("n_accepted", "n_unchanged", "n_quarantined"))
    assert parts.to_series().to_list() == files["n_rows"].to_list()
    for table, count in (("exams", "n_accepted"), ("quarantined", "n_quarantined")):
        held = warehouse._query(f"SELECT file_id, count(*) AS n FROM {table} GROUP BY file_id")
        found = dict(held.rows())
        wanted = {row["file_id"]: row[count] for row in files.iter_rows(named=True) if row[count]}
        assert found == wanted
    doubled = warehouse._query("SELECT file_id, row_no FROM exams GROUP BY ALL HAVING count(*) > 1")
    assert doubled.is_empty()
    return files.height


def _share_read(folder: Path, n_files: int) -> str:
    n_read = count_read(folder)
    return "nothing in" if n_read == 0 else "all in" if n_read == n_files else "some files in"


def contents(folder: Path) -> dict[str, list[tuple]]:
    """Every table but for times and places in the order of arrival, rows sorted."""
    with duckdb.connect(str(folder / "warehouse.duckdb"), read_only=True) as con:
        names = [name for (name,) in con.sql("SELECT table_name FROM duckdb_tables()").fetchall()]
        return {name: _rows_of(con, name) for name in names if name != "meta"}


def _rows_of(con: duckdb.DuckDBPyConnection, name: str) -> list[tuple]:
    columns = con.sql(f"SELECT * FROM {name} LIMIT 0").columns
    kept = ", ".join(f'"{column}"' for column in columns if column not in _BY_TIME)
    return con.sql(f"SELECT {kept} FROM {name} ORDER BY ALL").fetchall()


# Refresh


def kill_refreshes(
    place: Path,
    *,
    n_kills: int,
    seed: int,
    n_rows: int = ROWS,
    n_sites: int = SITES,
    start: Start = start_by_name,
) -> Toll:
    """Kill refreshes that publish over an earlier snapshot.

    After each: current.json names a snapshot that can be read, the old one or the new one whole.
    Then one more refresh must publish the same as where nothing was killed.
    """
    chance, toll = random.Random(seed), Toll()
    before = make_wide_network(place / "before", files_each=1, n_rows=n_rows, n_sites=n_sites)
    for word in ("intake", "refresh"):
        run_calm(before, word, start=start)
    make_wide_network(before, files_each=2, n_rows=n_rows, n_sites=n_sites)
    run_calm(before, "intake", start=start)
    calm = shutil.copytree(before, place / "calm")
    times = run_calm(calm, "refresh", start=start)
    wanted, sizes = published(calm), {_n_published(before), _n_published(calm)}
    folder = place / "killed"
    while toll.n_kills < n_kills:
        toll.n_rounds += 1
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(before, folder)
        for _ in range(chance.randint(1, 3)):
            if kill_one(folder, "refresh", times=times, chance=chance, start=start):
                toll.n_kills += 1
            else:
                toll.n_ended_before += 1
            assert _n_published(folder) in sizes
            is_new = current_snapshot_id(folder / "snapshots") != current_snapshot_id(
                before / "snapshots"
            )
            toll.seen["new in force" if is_new else "old in force"] += 1
            for snapshot_id in list_snapshot_ids(folder / "snapshots"):
                open_snapshot(folder, snapshot_id).close()
        run_calm(folder, "refresh", start=start)
        assert published(folder) == wanted
        assert not list((folder / "snapshots").glob("*.unfinished*"))
    return toll


def _n_published(folder: Path) -> int:
    snapshot = open_current(folder)
    try:
        return snapshot.frame("exams").height
    finally:
        snapshot.close()


def published(folder: Path) -> dict[str, list[tuple]]:
    """What is published, but for when and by whom."""
    snapshot = open_current(folder)
    try:
        return {
            name: snapshot.frame(name).drop("known_at", "set_at", strict=False).rows()
            for name in ("monthly_counts", "chart_points", "funnel_points", "signals", "exams")
        }
    finally:
        snapshot.close()
