"""Which chart rules each watched month breaks, for all series at once."""

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa.charts.budget import MONTH_PART
from qa.charts.drift import Drift, find_drift
from qa.charts.rules import (
    CHART_RULES,
    DRIFT,
    EIGHT_IN_A_ROW,
    FAR_OUTSIDE,
    OUTSIDE_LIMITS,
    POOLED_RULES,
)
from qa.charts.series import SIDES
from qa.model.words import PointState
from qa.stats.predictive import predictive_upper_tail
from qa.stats.runs import run_lengths, window_sums

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

_BIT: dict[str, int] = {code: 1 << place for place, code in enumerate(CHART_RULES)}
LOOK_BITS = sum(_BIT[rule.code] for rule in CHART_RULES.values() if rule.state == PointState.LOOK)
WATCH_BITS = sum(_BIT[rule.code] for rule in CHART_RULES.values() if rule.state == PointState.WATCH)

# No tail below 1 in 400 lies nearer to the expected count than this many sigma.
_SURELY_CHANCE_SIGMAS = 2.0


@dataclass(frozen=True)
class Hits:
    """For each watched point: bits of the rules that it breaks, and the drift CUSUM behind it.

    evidence, limit and n_months are those of the bad side; where both sides count, of the side
    with more evidence.
    """

    bits: Ints
    evidence: Floats
    limit: Floats
    n_months: Ints


def find_hits(points: pl.DataFrame, rates: Floats) -> Hits:
    """Ask all rules of all watched points.

    Args:
        points: watched points with n ≥ 1, sorted by series and month, with centre, lcl, ucl,
            baseline_no, event_weight, other_weight and better.
        rates: false items a month that each point's series may open (qa/charts/budget.py).
    """
    months = (points["month"].dt.year() * 12 + points["month"].dt.month()).to_numpy()
    months = months.astype(np.int64)
    segments = (
        points.select(pl.struct("series_no", "baseline_no").rle_id())
        .to_series()
        .to_numpy()
        .astype(np.int64)
    )
    size = points.height
    bits, n_months = np.zeros(size, dtype=np.int64), np.zeros(size, dtype=np.int64)
    evidence, limit = np.full(size, -1.0), np.zeros(size)
    for side in (1, -1):
        words = [word for word, sides in SIDES.items() if side in sides]
        at = np.flatnonzero(points["better"].is_in(words).to_numpy())
        if not len(at):
            continue
        part = points[at] if len(at) < size else points
        drift = find_drift(part, side=side, segments=segments[at], rates=rates[at])
        bits[at] |= _one_side(part, side, months[at], segments[at], rates[at], drift)
        share = drift.evidence / drift.limit
        is_more = share > evidence[at]
        more = at[is_more]
        evidence[more], limit[more] = share[is_more], drift.limit[is_more]
        n_months[more] = drift.n_months[is_more]
    return Hits(bits, evidence * limit, limit, n_months)


def rule_lists(bits: Ints) -> pl.Series:
    """Lists of rule codes for the bits, in the order of CHART_RULES."""
    lists = [
        [code for code, bit in _BIT.items() if number & bit] for number in range(1 << len(_BIT))
    ]
    return pl.Series(lists, dtype=pl.List(pl.String)).gather(bits)


def _one_side(
    points: pl.DataFrame, side: int, months: Ints, segments: Ints, rates: Floats, drift: Drift
) -> Ints:
    """Bits of one direction; below the centre line, exams and events change roles."""
    n = points["n"].to_numpy()
    value = points["n_events"].to_numpy() / n
    centre = points["centre"].to_numpy()
    weights = [points["event_weight"].to_numpy(), points["other_weight"].to_numpy()]
    if side > 0:
        is_outside, bad = value > points["ucl"].to_numpy(), points["n_events"].to_numpy()
    else:
        is_outside, bad = value < points["lcl"].to_numpy(), n - points["n_events"].to_numpy()
        weights.reverse()
    is_beyond = (value - centre) * side > 0
    bits = _BIT[OUTSIDE_LIMITS.code] * (is_outside & (bad >= OUTSIDE_LIMITS.min_bad))
    bits |= _BIT[EIGHT_IN_A_ROW.code] * (
        run_lengths(is_beyond, segments) >= EIGHT_IN_A_ROW.n_months
    )
    at = np.flatnonzero(is_outside & (bad >= FAR_OUTSIDE.min_bad))
    tail = _chance(bad[at], n[at], weights[0][at], weights[1][at])
    bits[at] |= _BIT[FAR_OUTSIDE.code] * (tail <= MONTH_PART * rates[at])
    bits |= _BIT[DRIFT.code] * drift.is_open
    for rule in POOLED_RULES:
        present = window_sums(np.ones_like(n), months, segments, n_months=rule.n_months)
        pooled_bad = window_sums(bad, months, segments, n_months=rule.n_months)
        pooled_n = window_sums(n, months, segments, n_months=rule.n_months)
        at = np.flatnonzero(is_beyond & (present >= rule.min_months) & (pooled_bad >= rule.min_bad))
        tail = _chance(pooled_bad[at], pooled_n[at], weights[0][at], weights[1][at])
        bits[at] |= _BIT[rule.code] * (tail <= (rule.tail or 0))
    return bits


def _chance(bad: Ints, n: Ints, bad_weight: Floats, other_weight: Floats) -> Floats:
    """Probability of as many bad exams; 1 where they are too near to what is expected."""
    share = bad_weight / (bad_weight + other_weight)
    tail = np.ones(len(bad))
    at = np.flatnonzero(bad - n * share > _SURELY_CHANCE_SIGMAS * np.sqrt(n * share * (1 - share)))
    tail[at] = predictive_upper_tail(
        bad[at], n[at], event_weight=bad_weight[at], other_weight=other_weight[at]
    )
    return tail
