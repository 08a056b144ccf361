"""Cells of a made-up site in two periods, with one thing planted in the second."""

import numpy as np
import polars as pl
from scipy.special import expit

OPERATORS, DEVICES, PROBES = ("op-1", "op-2", "op-3"), ("dev-1", "dev-2"), ("standard", "large")
PATIENTS = (-3.0, -2.4, -1.8)
CENTRE = 0.8


def made_cells(
    rng: np.random.Generator,
    *,
    n: int = 2400,
    shift: tuple[str, str, float] | None = None,
    patients: tuple[float, float, float] = (1 / 3, 1 / 3, 1 / 3),
    operators: tuple[float, ...] = (1 / 3, 1 / 3, 1 / 3),
    levels: tuple[float, ...] = (0.0, 0.0, 0.0),
    devices: tuple[str, ...] = DEVICES,
) -> pl.DataFrame:
    """One period. shift: (column, id, log odds) of what moved; patients, operators: shares."""
    draw = {
        "operator_id": rng.choice(OPERATORS, n, p=operators),
        "device_id": rng.choice(devices, n),
        "probe": rng.choice(PROBES, n, p=(0.75, 0.25)),
        "technique": np.full(n, "TE"),
        "log_odds": rng.choice(PATIENTS, n, p=patients),
    }
    eta = draw["log_odds"] + CENTRE
    eta = eta + np.select([draw["operator_id"] == one for one in OPERATORS], levels)
    if shift is not None:
        column, member, size = shift
        eta = eta + size * ((draw[column] == member) if column else 1.0)
    exams = pl.DataFrame(draw).with_columns(bad=pl.Series(rng.random(n) < expit(eta)))
    return exams.group_by(*draw).agg(n=pl.len().cast(pl.Int64), n_events=pl.col("bad").sum())
