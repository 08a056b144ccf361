"""What intake costs: parse, all checks, keyed hashes and append of versions, 1M exams.

Baselines, measured in the same run and in turns with ours, each in a fresh process: bare DuckDB
reading the same file into a native table of the same columns as the warehouse's exams
(_intake_bare_whole.py) and, beside it, of the columns of the file alone (_intake_bare.py); and the
same rows in one file. Options: --rows N
(1,000,000), --rounds N (5), --files N (12,000), --only big|small. With 10,000,000 rows the peak of
memory is the figure; files of at most a million rows are made then.
"""

import argparse
import math
import shutil
import sys
import tempfile
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

import duckdb

from qa.model.schemas import EXAMS
from tests.benchmarks import BenchmarkFigure
from tests.benchmarks._intake_bare import LEFT_OUT, TYPES
from tests.benchmarks._intake_data import write_files, write_network
from tests.benchmarks._measured import Use, alternate, machine, peak, ratio_of, run_fresh, said

ROWS_A_FILE = 1_000_000
PEAK_GOAL_MB = 1.2 * 1024

_OURS = """SELECT count(*), sum(n_valid), sum(round(10 * stiffness_value)::BIGINT),
    sum(attenuation_db_m::BIGINT), count(DISTINCT patient_key), count(DISTINCT operator_id)
    FROM exams"""
_BARE = """SELECT count(*), sum("Good shots"), sum(round(10 * "Stiffness kPa")::BIGINT),
    sum("Attenuation dB/m"::BIGINT), count(DISTINCT "Patient no"), count(DISTINCT "Seen by")
    FROM exams"""


def run(arguments: Sequence[str] = ()) -> list[BenchmarkFigure]:
    options = _options(arguments)
    _say(machine("polars", "duckdb", "polars-hash", "numpy"))
    with tempfile.TemporaryDirectory(dir=options.folder) as folder:
        figures = [] if options.only == "small" else _big(Path(folder), options)
        if options.only != "big":
            figures += _small(Path(folder), options)
    return figures


def _options(arguments: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks intake")
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--files", type=int, default=12_000)
    parser.add_argument("--only", choices=("big", "small"))
    parser.add_argument("--folder", type=Path, help="where to put the files (a disk with room)")
    return parser.parse_args(list(arguments))


def _say(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def _made(folder: Path, *, n_rows: int, n_files: int) -> Path:
    write_network(folder)
    write_files(folder, n_rows=n_rows, n_files=n_files)
    return folder


def _afresh(module: str, folder: Path) -> Use:
    """One run on files alone: whatever an earlier run has stored is gone."""
    for path in folder.iterdir():
        if path.name.startswith(("warehouse", "bare", "backup")):
            shutil.rmtree(path) if path.is_dir() else path.unlink()
    return run_fresh(module, folder)


def _in_turns(runs: Sequence[tuple[str, Callable[[], Use]]], rounds: int) -> list[list[Use]]:
    found = alternate([one for _, one in runs], rounds=rounds)
    for (name, _), uses in zip(runs, found, strict=True):
        _say(f"{name}: {said(uses)}")
    return found


def _big(folder: Path, options: argparse.Namespace) -> list[BenchmarkFigure]:
    n_files = math.ceil(options.rows / ROWS_A_FILE)
    ours = _made(folder / "big", n_rows=options.rows, n_files=n_files)
    bare = folder / "bare"
    bare.mkdir()
    (bare / "incoming").symlink_to(ours / "incoming")
    _require_equal_answers(ours, bare, n_rows=options.rows)
    runs = [
        ("ours", partial(_afresh, "_intake_ours", ours)),
        ("bare DuckDB, the file's columns", partial(_afresh, "_intake_bare", bare)),
        ("bare DuckDB, the warehouse's columns", partial(_afresh, "_intake_bare_whole", bare)),
    ]
    found = _in_turns(runs, options.rounds)
    shutil.rmtree(ours)
    baseline = f"bare DuckDB read_csv into a native table, {options.rows:,} rows, CPU seconds; "
    memory = f"none: peak of the whole job, {options.rows:,} rows in {n_files} file(s)"
    same = f"the {len(EXAMS.columns)} columns of the warehouse's exams, filled from the file"
    fewer = f"only the {len(TYPES) - len(LEFT_OUT)} columns of the file that a profile maps"
    return [
        BenchmarkFigure("intake_cpu_ratio", ratio_of(found[0], found[2]), 1.35, baseline + same),
        BenchmarkFigure(
            "intake_cpu_ratio_file_columns", ratio_of(found[0], found[1]), 1.35, baseline + fewer
        ),
        BenchmarkFigure("intake_peak_mb", peak(found[0]), PEAK_GOAL_MB, memory),
    ]


def _require_equal_answers(ours: Path, bare: Path, *, n_rows: int) -> None:
    """Both hold the same rows with the same figures, or nothing is timed."""
    _afresh("_intake_ours", ours)
    _afresh("_intake_bare", bare)
    answers = []
    for path, query in ((ours / "warehouse.duckdb", _OURS), (bare / "bare.duckdb", _BARE)):
        with duckdb.connect(str(path), read_only=True) as con:
            answers.append(tuple(int(value) for value in con.sql(query).fetchall()[0]))
    if answers[0] != answers[1] or answers[0][0] != n_rows:
        raise RuntimeError(f"the answers differ: {answers}")
    _say(f"equal answers: rows, valid, tenths of kPa, dB/m, patients, operators = {answers[0]}")


def _small(folder: Path, options: argparse.Namespace) -> list[BenchmarkFigure]:
    places = {n: folder / f"in_{n}" for n in (options.files, math.ceil(options.rows / ROWS_A_FILE))}
    for n_files, place in places.items():
        _made(place, n_rows=options.rows, n_files=n_files)
    runs = [(f"{n:,} files", partial(_afresh, "_intake_ours", at)) for n, at in places.items()]
    found = _in_turns(runs, min(options.rounds, 3))
    if {use.n_rows for uses in found for use in uses} != {options.rows}:
        raise RuntimeError("not every row is in")
    baseline = f"the same {options.rows:,} rows in one file, same code, CPU seconds"
    return [BenchmarkFigure("intake_small_files_cpu_ratio", ratio_of(*found), 1.5, baseline)]
