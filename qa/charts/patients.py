"""Centre lines that follow the patients: a month is held against what was to be expected of it."""

import numpy as np
import polars as pl
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, logit

Floats = NDArray[np.float64]

_LEAST = 1e-6


def follow_patients(points: pl.DataFrame, mix: pl.DataFrame | None) -> pl.DataFrame:
    """Move centre and what is known beforehand by how a month's patients differ.

    Args:
        points: points with baseline_id, centre, event_weight, other_weight, n, expected and
            model_id; expected is null where nothing is adjusted.
        mix: baseline_id, model_id, share: what the model expects of the baseline's exams.
    Returns: the same rows; unchanged where expected or share is null or no exam was done.
    Method: log odds of the centre plus those expected of the month less those expected of the
        baseline. The unit is still held against itself: if it was worse than expected in its
        baseline, it may be as much worse now. Spread within a month is less than binomial where
        its patients differ, so limits are a little wide.
    Weak when: the model fits badly for patients that hardly came in its own months.
    """
    if mix is None or "expected" not in points.columns:
        return points
    found = points.join(mix, on=["baseline_id", "model_id"], how="left", maintain_order="left")
    is_known = pl.col("share").is_not_null() & pl.col("expected").is_not_null() & (pl.col("n") > 0)
    at = np.flatnonzero(found.select(is_known.fill_null(value=False)).to_series().to_numpy())
    if not len(at):
        return points
    moved = found[at]
    step = _log_odds(moved["expected"] / moved["n"]) - _log_odds(moved["share"])
    columns = {name: found[name].to_numpy().copy() for name in _MOVED}
    columns["centre"][at] = shift_share(columns["centre"][at], step)
    weight = columns["event_weight"][at] + columns["other_weight"][at]
    event_weight = weight * shift_share(columns["event_weight"][at] / weight, step)
    columns["event_weight"][at], columns["other_weight"][at] = event_weight, weight - event_weight
    return points.with_columns(
        pl.Series(name, values).fill_nan(None) for name, values in columns.items()
    )


_MOVED = ("centre", "event_weight", "other_weight")


def shift_share(share: ArrayLike, step: ArrayLike) -> Floats:
    """Share whose log odds are moved by step; 0 stays 0 and 1 stays 1.

    Example: 0.5 and ln 3 → 0.75
    """
    with np.errstate(divide="ignore"):
        return np.asarray(expit(logit(np.asarray(share, dtype=np.float64)) + step))


def _log_odds(share: pl.Series) -> Floats:
    return np.asarray(logit(np.clip(share.to_numpy(), _LEAST, 1 - _LEAST)))
