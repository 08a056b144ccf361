"""The drift CUSUM of every watched series at once, from points to evidence and back."""

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa.charts.budget import DRIFT_PART
from qa.stats.cusum import times_above_zero
from qa.stats.drift_cusum import drift_cusum, odds_sought
from qa.stats.drift_limits import drift_limits

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Drift:
    """For each point: evidence so far, its limit, whether an item is open, months it has run."""

    evidence: Floats
    limit: Floats
    is_open: NDArray[np.bool_]
    n_months: Ints


def find_drift(points: pl.DataFrame, *, side: int, segments: Ints, rates: Floats) -> Drift:
    """Sum the evidence of one direction over the watched months of each series.

    Args:
        points: watched points with n ≥ 1, sorted by series and month, with event_weight and
            other_weight.
        side: 1 for more events than expected, -1 for fewer.
        segments: number of the series part that a point belongs to.
        rates: false items a month that each point's series may open, of the whole budget.
    Returns: Drift.
    Method: qa/stats/drift_cusum.py on the share that is known beforehand; limits by
        qa/stats/drift_limits.py for the mean number of exams a month so far.
    """
    n = points["n"].to_numpy().astype(np.float64)
    bad = points["n_events"].to_numpy() if side > 0 else n - points["n_events"].to_numpy()
    weights = [points["event_weight"].to_numpy(), points["other_weight"].to_numpy()][::side]
    place, column = _grid(segments)
    share = weights[0] / (weights[0] + weights[1])
    typical = _mean_so_far(n, place, column)
    ratio = odds_sought(typical * share)
    limits = drift_limits(
        typical, event_weight=weights[0], other_weight=weights[1], rate=DRIFT_PART * rates
    )
    wide = (_wide(one, place, column) for one in (bad, n, share, limits, ratio))
    events, exams, expected, ends, odds = wide
    sums, is_open = drift_cusum(events, exams, share=expected, limits=ends, odds=odds)
    at = (place, column)
    return Drift(sums[at], limits, is_open[at], times_above_zero(sums)[at])


def _grid(segments: Ints) -> tuple[Ints, Ints]:
    """Row (months watched before) and column (series part) of each point."""
    number = np.arange(len(segments), dtype=np.int64)
    is_start = np.ones(len(segments), dtype=bool)
    is_start[1:] = segments[1:] != segments[:-1]
    column = np.cumsum(is_start) - 1
    return number - number[is_start][column], column


def _wide(values: Floats, place: Ints, column: Ints) -> Floats:
    if not len(values):
        return np.zeros((0, 0))
    wide = np.full((int(place.max()) + 1, int(column.max()) + 1), np.nan)
    wide[place, column] = values
    return wide


def _mean_so_far(n: Floats, place: Ints, column: Ints) -> Floats:
    if not len(n):
        return n
    sums = np.cumsum(np.nan_to_num(_wide(n, place, column)), axis=0)
    return np.maximum(np.asarray(sums[place, column] / (place + 1)), 1.0)
