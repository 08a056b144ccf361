"""Many processes writing decisions at once, on SQLite and on PostgreSQL; and killed meanwhile.

Goals are promises: no change that was said to be kept is lost, the chain is whole. Speeds are told,
with no goal of their own but to stay far above what people type.
"""

import random
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from qa.jobs.followup.opening import open_record
from qa.jobs.followup.trail import verify_trail
from qa.stores.followup.engine import ENVIRON_URL
from tests.benchmarks import BenchmarkFigure as Figure
from tests.followup import writers
from tests.followup.notes import NETWORK_TEXT
from tests.postgres import find_programs, make_database, running_server

N_WRITERS, N_CHANGES, N_KILLS = 8, 1_000, 40
SLOWEST = 5.0
"""Changes a second; a busy network types a few a minute."""


def run(options: Sequence[str] = ()) -> list[Figure]:
    """Options: changes of each process, then kills (default 1000 40)."""
    n_changes, n_kills = (int(one) for one in options) if options else (N_CHANGES, N_KILLS)
    figures = []
    with tempfile.TemporaryDirectory() as place:
        figures += _one_store("SQLite", Path(place) / "sqlite", {}, n_changes, n_kills)
        programs = find_programs()
        if programs is not None:
            with running_server(programs, is_durable=True) as server:
                for name in ("write", "kill"):
                    make_database(server, name)
                figures += _one_store(
                    "PostgreSQL", Path(place) / "postgres", {"server": server}, n_changes, n_kills
                )
    return figures


def _one_store(
    title: str, place: Path, where: dict[str, str], n_changes: int, n_kills: int
) -> list[Figure]:
    def environ(database: str) -> dict[str, str]:
        return {ENVIRON_URL: f"{where['server']}/{database}"} if where else {}

    return [
        *_write(title, _folder(place / "write"), environ("write"), n_changes),
        *_kill(title, _folder(place / "kill"), environ("kill"), n_kills),
    ]


def _folder(folder: Path) -> Path:
    folder.mkdir(parents=True)
    (folder / "network.toml").write_text(NETWORK_TEXT, encoding="utf-8")
    return folder


def _write(title: str, folder: Path, environ: dict[str, str], n_changes: int) -> list[Figure]:
    names = [f"w{number}" for number in range(N_WRITERS)]
    started = [writers.start(folder, name, n_changes, environ) for name in names]
    begin = time.perf_counter()
    writers.go(started)
    done = [writers.finish(*one) for one in zip(names, started, strict=True)]
    seconds = time.perf_counter() - begin
    kept = sorted(ms for one in done for ms in one.kept_ms)
    wanted = N_WRITERS * n_changes
    n_there, n_faults, check_s = _look(folder, environ)
    rate = len(kept) / seconds
    timing = ", ".join(
        f"{name} {kept[min(int(share * len(kept)), len(kept) - 1)]:.1f} ms"
        for name, share in (("median", 0.5), ("99 %", 0.99), ("longest", 1.0))
    )
    what = f"{title}, {N_WRITERS} processes × {n_changes} changes"
    return [
        Figure(f"{what}: lost", abs(wanted - n_there) + wanted - len(kept), 0, "none"),
        Figure(f"{what}: faults in the chain", n_faults, 0, "none"),
        Figure(f"{what}: changes a second ({timing})", rate, SLOWEST, "typing", False),
        Figure(f"{title}: lines verified a second", n_there / check_s, 0, "none", False),
    ]


def _kill(title: str, folder: Path, environ: dict[str, str], n_kills: int) -> list[Figure]:
    chance, n_said, n_killed, n_faults = random.Random(11), 0, 0, 0
    n_unsaid = 0
    while n_killed < n_kills:
        started = [writers.start(folder, f"k{number}", 100_000, environ) for number in range(4)]
        writers.go(started)
        for one in started:
            n_said += writers.kill_after(one, chance.randint(1, 60))
            n_killed += 1
        n_there, faults, _ = _look(folder, environ)
        n_faults += faults
        n_unsaid = n_there - n_said
    what = f"{title}, {n_killed} processes killed while writing"
    return [
        Figure(f"{what}: kept but not said so", n_unsaid, n_killed, "one each at most"),
        Figure(f"{what}: said to be kept and lost", max(-n_unsaid, 0), 0, "none"),
        Figure(f"{what}: faults in the chain", n_faults, 0, "none"),
    ]


def _look(folder: Path, environ: dict[str, str]) -> tuple[int, int, float]:
    """Changes that are there, faults of chain and counts, and seconds to verify."""
    counts = writers.counts_of(folder, environ)
    store = open_record(folder, environ=environ)
    begin = time.perf_counter()
    found = verify_trail(store)
    seconds = time.perf_counter() - begin
    store.close()
    n_odd = sum(count != n_events for count, n_events in counts.values())
    n_odd += found.n_rows != found.n_events
    return found.n_events, len(found.faults) + n_odd, seconds
