"""Invented exports of any size for the benchmark of intake: fast to make, the same every time.

Rows look like those of a clinic (one exam a row, names and notes beside figures), but nothing is
simulated: figures are drawn column by column. Every row passes every check.
"""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import polars as pl

SEED = 20261031
ROWS_A_PIECE = 250_000
N_OPERATORS, N_DEVICES = 40, 12
SITE, PROFILE = "alder-sound", "harbour"
_FIRST_DAY, _N_DAYS = np.datetime64("2016-01-04"), 3_900
_WORDS = ("anxious", "came late", "interpreter needed", "scar on the right", "second try")

NETWORK = """
id = "benchmark"
name = "Benchmark network (invented)"
is_invented = true

[[criteria]]
id = "common-practice.v1"
from = 2016-01-01

[[sites]]
id = "alder-sound"
name = "Alder Sound"
time_zone = "Europe/London"
profile = "harbour"
"""


def write_network(folder: Path) -> None:
    """network.toml with one site, and the demo's profile for its kind of file."""
    profiles = Path(__file__).parents[2] / "demo_sites" / "profiles"
    (folder / "profiles").mkdir(parents=True)
    (folder / "profiles" / f"{PROFILE}.toml").write_bytes(
        (profiles / f"{PROFILE}.toml").read_bytes()
    )
    lines = [NETWORK]
    for number in range(N_OPERATORS):
        lines.append(f'[[operators]]\nid = "op-{number}"\nsite = "{SITE}"\ncode = "H-{number}"\n')
    for number in range(N_DEVICES):
        lines.append(
            f'[[devices]]\nid = "dev-{number}"\nsite = "{SITE}"\ncode = "unit {number}"\n'
            'techniques = ["TE"]\n'
        )
    (folder / "network.toml").write_text("\n".join(lines), encoding="utf-8")


def write_files(folder: Path, *, n_rows: int, n_files: int) -> list[Path]:
    """Rows in order over files of nearly the same length under incoming/.

    Returns: the files, in order.
    """
    incoming = folder / "incoming" / SITE
    incoming.mkdir(parents=True)
    paths = [incoming / f"{SITE}_{number:05d}.csv" for number in range(n_files)]
    ends = [n_rows * (number + 1) // n_files for number in range(n_files)]
    place, done = 0, 0
    for piece in _pieces(n_rows):
        start = 0
        while start < piece.height:
            take = min(ends[place] - done, piece.height - start)
            with paths[place].open("ab") as file:
                is_new = file.tell() == 0
                piece[start : start + take].write_csv(file, include_header=is_new)
            start, done = start + take, done + take
            place += done == ends[place]
    return paths


def _pieces(n_rows: int) -> Iterator[pl.DataFrame]:
    rng = np.random.default_rng(SEED)
    for first in range(0, n_rows, ROWS_A_PIECE):
        yield _rows(rng, first, min(ROWS_A_PIECE, n_rows - first), n_rows)


def _rows(rng: np.random.Generator, first: int, n: int, n_rows: int) -> pl.DataFrame:
    """Headings of the shape "harbour"; about 0.6 patients an exam."""
    number = np.arange(first, first + n)
    patient = rng.integers(0, max(1, int(0.6 * n_rows)), n)
    born = np.datetime64("1930-01-01") + rng.integers(0, 25_000, n)
    minutes = (number * _N_DAYS // n_rows) * 1440 + rng.integers(8 * 60, 17 * 60, n)
    seen = _FIRST_DAY.astype("datetime64[m]") + minutes
    kpa = np.round(np.clip(np.exp(rng.normal(1.75, 0.4, n)), 2.5, 74.9), 1)
    ratio = np.clip(rng.gamma(4.0, 0.04, n), 0.01, 0.9)
    iqr = np.round(kpa * ratio, 1)
    valid = 10 + rng.poisson(0.6, n)
    words = pl.Series([*_WORDS, *[None] * 35]).gather(rng.integers(0, 40, n))

    def pick(*texts: str) -> pl.Series:
        return pl.Series(texts).gather(rng.integers(0, len(texts), n))

    columns: dict[str, object] = {
        "Exam no": pl.Series(number).cast(pl.String).str.zfill(9),
        "Patient no": pl.select("N" + pl.lit(pl.Series(patient)).cast(pl.String).str.zfill(9)),
        "Patient name": pick(
            "Fell (invented), Ada", "Holt (invented), Ola", "Rook (invented), Per"
        ),
        "Born on": pl.Series(born).dt.strftime("%Y-%m-%d"),
        "Seen at": pl.Series(seen.astype("datetime64[us]")).dt.strftime("%Y-%m-%d %H:%M"),
        "Seen by": pick(*(f"H-{k}" for k in range(N_OPERATORS))),
        "Scanner": pick(*(f"unit {k}" for k in range(N_DEVICES))),
        "Method": pick("TE"),
        "Probe": pick("standard", "standard", "standard", "large"),
        "Carried out": pick("yes"),
        "Why not": pl.Series([None], dtype=pl.String).new_from_index(0, n),
        "Kind of visit": pick("first", "planned", "called back", "second look"),
        "Shots": valid + rng.poisson(3.0, n),
        "Good shots": valid,
        "Stiffness kPa": kpa,
        "Stiffness IQR kPa": iqr,
        "IQR to median %": np.round(100 * iqr / kpa).astype(np.int64),
        "Attenuation dB/m": rng.integers(140, 390, n),
        "Attenuation IQR dB/m": rng.integers(8, 80, n),
        "Fasted h": rng.integers(4, 30, n) / 2,
        "Rested min": rng.choice([5, 10, 15, 20], n),
        "Body-mass index": np.round(rng.uniform(17, 45, n), 1),
        "Age": rng.integers(18, 89, n),
        "Sex": pick("F", "M"),
        "Cause": pick("fatty liver", "virus", "alcohol", "other"),
        "Duration s": rng.integers(60, 600, n),
        "Notes": words,
    }
    return pl.DataFrame({name: _series(values) for name, values in columns.items()})


def _series(values: object) -> pl.Series:
    return values.to_series() if isinstance(values, pl.DataFrame) else pl.Series(values)
