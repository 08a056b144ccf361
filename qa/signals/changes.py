"""Signals of control charts: a unit has changed against its baseline."""

from collections.abc import Mapping

import numpy as np
import polars as pl

from qa.charts.rules import DRIFT, HALF_YEAR, QUARTER
from qa.charts.series import SERIES_KEY
from qa.model.words import Phase, PointState
from qa.stats.intervals import wilson_interval
from qa.stats.runs import window_sums


def find_changes(points: pl.DataFrame, *, bad_sides: Mapping[str, int]) -> pl.DataFrame:
    """One row per watched month in which a rule asks for a look.

    Args:
        points: CHART_POINTS of watched measures.
        bad_sides: measure id → 1 where more is worse, -1 where less is; a measure that is not
            named is bad on whichever side the month lies.
    Returns: the point's own columns with the month's counts as month_events and month_n, the
        pooled counts of RUL-002 and RUL-005, and over the months since since_month: n_events,
        n, value, expected, at_stake and its interval. side is 1 above, -1 below the centre.
    Method: since_month is where the evidence that opened the item (RUL-006) began to rise
        from 0, or the month itself for a single far month (RUL-007). at_stake is observed
        minus expected over those months, turned so that more is worse; where the centre line
        follows the patients of each month, centre is its mean over those exams.
    Weak when: as an estimate of when the change began: it is rough, a month or two.
    """
    watched = points.filter(
        (pl.col("phase") == Phase.MONITORING) & (pl.col("n") > 0) & pl.col("centre").is_not_null()
    ).sort(*SERIES_KEY, "month")
    own_side = (pl.col("value") - pl.col("centre")).sign().cast(pl.Int8)
    known = pl.col("measure_id").replace_strict(dict(bad_sides), default=None, return_dtype=pl.Int8)
    watched = _add_pooled_counts(watched).with_columns(side=known.fill_null(own_side))
    return add_stakes(_since(watched).filter(pl.col("state") == PointState.LOOK))


def _since(watched: pl.DataFrame) -> pl.DataFrame:
    """Counts over the months since the evidence rose from 0; the month itself without drift."""
    part = pl.struct(*SERIES_KEY, "baseline_id").rle_id()
    is_drift = pl.col("rules").list.contains(DRIFT.code)
    should = pl.col("n") * pl.col("centre")
    numbered = watched.with_row_index("row").with_columns(part=part, should=should)
    back = pl.when(is_drift).then(pl.col("evidence_months")).otherwise(1).fill_null(1)
    first = (pl.col("row") - back + 1).clip(pl.col("row").min().over("part"), pl.col("row"))
    numbered = numbered.with_columns(pl.col("row").cast(pl.Int64)).with_columns(first=first)
    at = numbered["first"].to_numpy()
    before = {
        name: np.concatenate([[0], np.cumsum(numbered[name].to_numpy())])
        for name in ("n_events", "n", "should")
    }
    sums = [
        pl.Series(name, total[1:] - total[at], dtype=numbered.schema[name])
        for name, total in before.items()
    ]
    return (
        numbered.with_columns(
            month_events=pl.col("n_events"),
            month_n=pl.col("n"),
            since_month=numbered["month"].gather(at),
        )
        .with_columns(*sums)
        .with_columns(centre=pl.col("should") / pl.col("n"))
        .drop("should")
    )


def add_stakes(signals: pl.DataFrame) -> pl.DataFrame:
    """Add value, expected, direction and exams at stake from n_events, n, centre and side."""
    lower, upper = wilson_interval(signals["n_events"].to_numpy(), signals["n"].to_numpy())
    ends = signals.with_columns(
        value=pl.col("n_events") / pl.col("n"),
        expected=pl.col("n") * pl.col("centre"),
        low=pl.Series(lower, dtype=pl.Float64) * pl.col("n"),
        high=pl.Series(upper, dtype=pl.Float64) * pl.col("n"),
    )
    is_higher = pl.col("side") > 0
    return ends.with_columns(
        direction=pl.when(is_higher).then(pl.lit("higher")).otherwise(pl.lit("lower")),
        at_stake=(pl.col("n_events") - pl.col("expected")) * pl.col("side"),
        at_stake_lower=pl.when(is_higher)
        .then(pl.col("low") - pl.col("expected"))
        .otherwise(pl.col("expected") - pl.col("high")),
        at_stake_upper=pl.when(is_higher)
        .then(pl.col("high") - pl.col("expected"))
        .otherwise(pl.col("expected") - pl.col("low")),
    ).drop("low", "high")


def _add_pooled_counts(watched: pl.DataFrame) -> pl.DataFrame:
    months = (watched["month"].dt.year() * 12 + watched["month"].dt.month()).to_numpy()
    segments = watched.select(pl.struct(*SERIES_KEY, "baseline_id").rle_id()).to_series()
    columns = []
    for name, rule in (("quarter", QUARTER), ("half_year", HALF_YEAR)):
        for count in ("n_events", "n"):
            pooled = window_sums(
                watched[count].to_numpy(),
                months.astype(np.int64),
                segments.to_numpy().astype(np.int64),
                n_months=rule.n_months,
            )
            columns.append(pl.Series(f"{name}_{count}", pooled, dtype=pl.Int64))
    return watched.with_columns(columns)
