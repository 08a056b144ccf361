"""How long the whole demo takes: generate, read, judge, chart, publish, make packs."""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.benchmarks import BenchmarkFigure


def run() -> list[BenchmarkFigure]:
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        subprocess.run(
            [sys.executable, "-m", "qa", "demo", str(Path(folder) / "demo"), "--no-serve"],
            check=True,
            stderr=subprocess.DEVNULL,
        )
        seconds = time.perf_counter() - start
    return [
        BenchmarkFigure(
            name="demo_no_serve_seconds",
            value=seconds,
            goal=60.0,
            baseline="none: wall seconds of the whole command on this machine",
        )
    ]
