"""What kill -9 does to intake and refresh: hundreds of real processes killed at random moments.

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
from tests.robust.killing import Toll, kill_intakes, kill_refreshes

REFRESH_SHARE = 0.25


def run(arguments: Sequence[str] = ()) -> list[BenchmarkFigure]:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks kill-intake")
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=20261101)
    options = parser.parse_args(list(arguments))
    n_refreshes = round(REFRESH_SHARE * options.kills)
    with tempfile.TemporaryDirectory() as folder:
        intakes = kill_intakes(
            Path(folder) / "intake", n_kills=options.kills - n_refreshes, seed=options.seed
        )
        refreshes = kill_refreshes(Path(folder) / "refresh", n_kills=n_refreshes, seed=options.seed)
    return [
        *_figures("intake", intakes, goal=options.kills - n_refreshes),
        *_figures("refresh", refreshes, goal=n_refreshes),
    ]


def _figures(what: str, toll: Toll, *, goal: int) -> list[BenchmarkFigure]:
    met = ", ".join(f"{state} {n}" for state, n in sorted(toll.seen.items()))
    print(f"{what}: {toll.n_kills} killed in {toll.n_rounds} rounds; found: {met}", file=sys.stderr)
    baseline = f"none: processes killed and survived without loss ({met})"
    name = f"{what}_kills_survived"
    return [BenchmarkFigure(name, toll.n_kills, goal, baseline, is_upper_bound=False)]
