"""Many processes write at once, and some are killed: nothing is lost, the chain stays whole."""

import random
from pathlib import Path

from qa.jobs.followup.opening import open_record
from qa.jobs.followup.trail import verify_trail
from tests.followup import writers


def assert_whole(folder: Path, environ: dict[str, str], *, n_kept: int, n_more: int = 0) -> int:
    """Every change that was said to be kept is there, each with its line; returns how many."""
    counts = writers.counts_of(folder, environ)
    assert all(count == n_events for count, n_events in counts.values())
    n_events = sum(n for _, n in counts.values())
    store = open_record(folder, environ=environ)
    found = verify_trail(store)
    store.close()
    assert found.faults == []
    assert found.n_rows == found.n_events == n_events
    assert n_kept <= n_events <= n_kept + n_more
    return n_events


def test_many_write_at_once_and_some_are_killed(
    network_folder: Path, followup_environ: dict[str, str]
) -> None:
    """All open a store that is not there yet, too.

    python -m tests.benchmarks trail: 8 processes × 1,000 changes, and many more kills.
    """
    chance = random.Random(5)
    wanted = {"a": 25, "b": 25, "killed 1": 10_000, "killed 2": 10_000}
    started = {
        name: writers.start(network_folder, name, n, followup_environ) for name, n in wanted.items()
    }
    writers.go(list(started.values()))
    n_kept = sum(
        writers.kill_after(started[name], chance.randint(5, 20))
        for name in ("killed 1", "killed 2")
    )
    for name in ("a", "b"):
        done = writers.finish(name, started[name])
        assert (done.code, len(done.kept_ms)) == (0, 25)
        n_kept += 25
    assert_whole(network_folder, followup_environ, n_kept=n_kept, n_more=2)
