"""What kill -9 does to intake, refresh, backup and restore: hundreds of processes killed at random.

Every kill is followed by a look (tests/robust/killing.py) that ends the run when a row is lost, in
twice, or nothing readable is published; so the figures are how many kills were survived and how
they fell. Options: --kills N (200), --seed N.
"""

import argparse
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from tests.benchmarks import BenchmarkFigure
from tests.robust.killing import ROWS, Toll, kill_intakes, kill_refreshes
from tests.robust.killing_backups import kill_backups, kill_restores, make_published

REFRESH_SHARE = 0.25
BACKUP_SHARE = 0.15
"""Backups, and restores of each kind, beside the kills of intake and refresh."""


def run(arguments: Sequence[str] = ()) -> list[BenchmarkFigure]:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks kill-intake")
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=20261101)
    options = parser.parse_args(list(arguments))
    n_refreshes = round(REFRESH_SHARE * options.kills)
    n_backups = round(BACKUP_SHARE * options.kills)
    with tempfile.TemporaryDirectory() as folder:
        intakes = kill_intakes(
            Path(folder) / "intake", n_kills=options.kills - n_refreshes, seed=options.seed
        )
        refreshes = kill_refreshes(Path(folder) / "refresh", n_kills=n_refreshes, seed=options.seed)
        network = make_published(Path(folder) / "backup" / "network", n_rows=ROWS)
        more = {"n_kills": n_backups, "seed": options.seed}
        backups = kill_backups(network, **more)
        restores = [kill_restores(network, is_new=is_new, **more) for is_new in (True, False)]
    return [
        *_figures("intake", intakes, goal=options.kills - n_refreshes),
        *_figures("refresh", refreshes, goal=n_refreshes),
        *_figures("backup", backups, goal=n_backups),
        *_figures("restore_into_new_folder", restores[0], goal=n_backups),
        *_figures("restore_beside_incoming", restores[1], goal=n_backups),
    ]


def _figures(what: str, toll: Toll, *, goal: int) -> list[BenchmarkFigure]:
    met = ", ".join(f"{state} {n}" for state, n in sorted(toll.seen.items()))
    print(f"{what}: {toll.n_kills} killed in {toll.n_rounds} rounds; found: {met}", file=sys.stderr)
    baseline = f"none: processes killed and survived without loss ({met})"
    name = f"{what}_kills_survived"
    return [BenchmarkFigure(name, toll.n_kills, goal, baseline, is_upper_bound=False)]
