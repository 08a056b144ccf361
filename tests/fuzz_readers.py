"""Throw spoilt files at every reader: python -m tests.fuzz_readers --minutes 5 [--seed 1]

A finding is any exception but a UserError, more than 2 s of CPU, more than 500 MB of memory, or a
reader that takes the process down. Prints one JSON object; exit code 1 when something was found.
The input of a finding is kept as a file in --keep.
"""

import argparse
import itertools
import json
import multiprocessing
import random
import resource
import sys
import tempfile
import time
from collections import Counter, defaultdict
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import polars as pl

from qa.model.errors import UserError
from qa.model.file_problems import FILE_PROBLEMS, ROW_NO
from qa.readers.read import read_file
from tests.fuzz_corpus import Seed, seeds, spoil

MAX_CPU_S = 2.0
MAX_GROWTH_MB = 500
MAX_SILENCE_S = 60
ADDRESS_SPACE = 6 * 1024**3
PAGE = resource.getpagesize()
KEPT_SPOILT = 200
SLOW, SLOW_EVERY = "parquet", 5
"""Parquet takes a process for each file, so it gets fewer turns."""


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz_readers", description=__doc__)
    parser.add_argument("--minutes", type=float, default=5)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="folder for inputs of findings")
    chosen = parser.parse_args(arguments)
    keep = chosen.keep or Path(tempfile.mkdtemp(prefix="fuzz_readers_"))
    keep.mkdir(parents=True, exist_ok=True)
    result = run(minutes=chosen.minutes, seed=chosen.seed, keep=keep)
    print(json.dumps(result, indent=1, sort_keys=True))
    return 1 if result["findings"] else 0


def run(*, minutes: float, seed: int, keep: Path) -> dict[str, Any]:
    """Work in a process of its own, and start another one when a reader takes it down."""
    started, end = time.monotonic(), time.monotonic() + minutes * 60
    tally = Tally()
    round_no = 0
    while time.monotonic() < end:
        _one_worker(seed + 1_000_003 * round_no, end, tally, keep)
        round_no += 1
    return tally.as_dict() | {
        "seed": seed, "minutes": round((time.monotonic() - started) / 60, 1), "kept_in": str(keep)
    }  # fmt: skip


def _one_worker(seed: int, end: float, tally: "Tally", keep: Path) -> None:
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe(duplex=False)
    worker = context.Process(target=work, args=(seed, end, theirs, str(keep)), daemon=True)
    worker.start()
    theirs.close()
    shown = time.monotonic()
    try:
        while True:
            if not ours.poll(MAX_SILENCE_S):
                worker.kill()
                _count_loss(tally, keep, f"no answer within {MAX_SILENCE_S} s")
                break
            tally.add(ours.recv())
            if time.monotonic() - shown > 60:
                shown = time.monotonic()
                print(dict(tally.inputs), len(tally.findings), "findings", file=sys.stderr)
    except EOFError:
        worker.join()
        if worker.exitcode:
            _count_loss(tally, keep, f"the process ended with {worker.exitcode}")
    worker.join()


def _count_loss(tally: "Tally", keep: Path, what: str) -> None:
    current = keep / "current.bin"
    kept = keep / f"lost_{len(tally.findings)}.bin"
    if current.exists():
        current.rename(kept)
    label = (keep / "current.txt").read_text() if (keep / "current.txt").exists() else "?"
    tally.findings.append({"reader": label, "what": what, "input": str(kept)})


class Tally:
    def __init__(self) -> None:
        self.inputs: Counter[str] = Counter()
        self.codes: dict[str, Counter[str]] = defaultdict(Counter)
        self.slowest_s: dict[str, float] = defaultdict(float)
        self.largest_mb: dict[str, float] = defaultdict(float)
        self.findings: list[dict[str, Any]] = []

    def add(self, message: dict[str, Any]) -> None:
        reader = message["reader"]
        self.inputs[reader] += 1
        self.codes[reader][message["code"]] += 1
        self.slowest_s[reader] = max(self.slowest_s[reader], message["cpu_s"])
        self.largest_mb[reader] = max(self.largest_mb[reader], message["growth_mb"])
        if "finding" in message:
            self.findings.append(message["finding"])

    def as_dict(self) -> dict[str, Any]:
        return {
            "inputs": dict(self.inputs),
            "n_inputs": sum(self.inputs.values()),
            "outcomes": {reader: dict(codes) for reader, codes in self.codes.items()},
            "slowest_cpu_s": {reader: round(s, 2) for reader, s in self.slowest_s.items()},
            "largest_growth_mb": {reader: round(mb) for reader, mb in self.largest_mb.items()},
            "findings": self.findings,
        }


def work(seed: int, end: float, pipe: Connection, keep: str) -> None:
    """Spoil one seed after the other until the time is over; each reader has a turn at least."""
    resource.setrlimit(resource.RLIMIT_AS, (ADDRESS_SPACE, ADDRESS_SPACE))
    rng = random.Random(seed)
    by_reader: dict[str, list[Seed]] = defaultdict(list)
    for one in seeds():
        by_reader[one[0]].append(one)
    pools = {reader: list(listed) for reader, listed in by_reader.items()}
    folder = Path(keep)
    for round_no in itertools.count():
        if round_no and time.monotonic() > end:
            break
        for reader, pool in pools.items():
            if reader == SLOW and round_no % SLOW_EVERY:
                continue
            label, profile, good = rng.choice(pool)
            content = spoil(good, rng)
            (folder / "current.bin").write_bytes(content)
            (folder / "current.txt").write_text(label)
            message = try_one((label, profile, content), folder)
            pipe.send(message)
            if message["code"] == "read" and len(pool) < len(by_reader[reader]) + KEPT_SPOILT:
                pool.append((label, profile, content))


def try_one(one: Seed, folder: Path) -> dict[str, Any]:
    """Read one input; what came of it and what it cost."""
    reader, profile, content = one
    peak, resident = peak_mb(), resident_mb()
    started = cpu_s()
    fault, code = "", "read"
    try:
        fault = wrong_frame(read_file(content, name="file", profile=profile))
    except UserError as problem:
        code = problem.code
        fault = "" if code in FILE_PROBLEMS else f"unknown code {code}"
    except BaseException as problem:
        code, fault = "exception", f"{type(problem).__name__}: {problem}"[:300]
    cpu = cpu_s() - started
    growth = max(peak_mb() - resident, 0) if peak_mb() > peak else 0.0
    if cpu > MAX_CPU_S:
        fault = fault or f"{cpu:.1f} s of CPU"
    if growth > MAX_GROWTH_MB:
        fault = fault or f"{growth:.0f} MB"
    message = {"reader": reader, "code": code, "cpu_s": cpu, "growth_mb": growth}
    if fault:
        kept = folder / f"{reader}_{abs(hash(content)) % 10**10}.bin"
        kept.write_bytes(content)
        message["finding"] = {
            "reader": reader, "what": fault, "input": str(kept), "bytes": len(content),
            "profile": f"{profile.delimiter!r} {profile.encoding} {profile.header_row}",
        }  # fmt: skip
    return message


def wrong_frame(frame: pl.DataFrame) -> str:
    """What a reader promises of its frame."""
    if frame.columns[:1] != [ROW_NO] or frame.schema[ROW_NO] != pl.Int32:
        return "the first column is not the row number"
    if set(frame.dtypes[1:]) - {pl.String}:
        return "a column is no text"
    if not frame.height or not frame[ROW_NO].is_sorted() or frame[ROW_NO].is_duplicated().any():
        return "rows are missing or not in order"
    return ""


def cpu_s() -> float:
    """CPU of this process and of those that it started."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def peak_mb() -> float:
    """Peak of this process, or of the largest that it started."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return max(one.ru_maxrss for one in used) / 1024


def resident_mb() -> float:
    return int(Path("/proc/self/statm").read_text().split()[1]) * PAGE / 1024**2


if __name__ == "__main__":
    sys.exit(main())
