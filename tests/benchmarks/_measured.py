"""What a process used: told by itself at its end, read by the benchmark that started it."""

import json
import platform
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

_REPO = Path(__file__).parents[2]


@dataclass(frozen=True)
class Use:
    """CPU seconds (user and system), wall seconds, peak memory in MB, rows handled."""

    cpu_s: float
    wall_s: float
    peak_mb: float
    n_rows: int


def tell(*, n_rows: int) -> None:
    """Print this process's use as the last line of its output."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    facts = {"cpu_s": used.ru_utime + used.ru_stime, "peak_mb": _peak_mb(), "n_rows": n_rows}
    print(json.dumps(facts))


def _peak_mb() -> float:
    """Peak of this program's own memory; ru_maxrss would count the starting process too."""
    status = Path("/proc/self/status")
    if status.exists():
        fields = dict(line.split(":", 1) for line in status.read_text().splitlines())
        return int(fields["VmHWM"].split()[0]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def run_fresh(module: str, folder: Path) -> Use:
    """Run a module of tests.benchmarks on a folder in a fresh process."""
    start = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-m", f"tests.benchmarks.{module}", str(folder)],
        cwd=_REPO,
        capture_output=True,
        text=True,
    )
    if done.returncode:
        raise RuntimeError(f"{module}: {done.stderr[-2000:]}")
    facts = json.loads(done.stdout.splitlines()[-1])
    return Use(wall_s=time.perf_counter() - start, **facts)


def alternate(runs: Sequence[Callable[[], Use]], *, rounds: int) -> list[list[Use]]:
    """Every run once in each round, one after the other, so that a busy machine touches all."""
    found: list[list[Use]] = [[] for _ in runs]
    for _ in range(rounds):
        for place, run in enumerate(runs):
            found[place].append(run())
    return found


def ratio_of(ours: Sequence[Use], theirs: Sequence[Use]) -> float:
    """Median of CPU seconds over median of CPU seconds."""
    return median_cpu(ours) / median_cpu(theirs)


def median_cpu(uses: Sequence[Use]) -> float:
    return statistics.median(use.cpu_s for use in uses)


def peak(uses: Sequence[Use]) -> float:
    return max(use.peak_mb for use in uses)


def said(uses: Sequence[Use]) -> str:
    """Example: "cpu 9.1 9.3 9.6 s, wall 6.0 s, peak 512 MB" (wall: the shortest)"""
    cpu = " ".join(f"{use.cpu_s:.2f}" for use in sorted(uses, key=lambda use: use.cpu_s))
    wall = min(use.wall_s for use in uses)
    return f"cpu {cpu} s, wall {wall:.1f} s, peak {peak(uses):.0f} MB"


def machine(*modules: str) -> str:
    """Versions, for the record."""
    import importlib.metadata

    listed = ", ".join(f"{name} {importlib.metadata.version(name)}" for name in modules)
    return f"Python {platform.python_version()}, {listed}"
