"""Signals of control charts: a unit has changed against its baseline."""

import numpy as np
import polars as pl

from qa.charts.rules import HALF_YEAR, QUARTER
from qa.charts.series import SERIES_KEY
from qa.model.words import Phase, PointState
from qa.stats.intervals import wilson_interval
from qa.stats.runs import window_sums

_RUN_KEY = (*SERIES_KEY, "baseline_id", "side")


def find_changes(points: pl.DataFrame) -> pl.DataFrame:
    """One row per watched month in which a rule asks for a look.

    Args:
        points: CHART_POINTS of watched measures.
    Returns: the point's own columns with the month's counts as month_events and month_n, the
        pooled counts of RUL-002 and RUL-005, and over the months since since_month: n_events,
        n, value, expected, at_stake and its interval. side is 1 above, -1 below the centre.
    Method: since_month is the first month of the unbroken run on the bad side that leads to
        the signal, but no earlier than the months that the first broken rule looked at.
        at_stake is observed minus expected over those months, turned so that more is worse.
    """
    watched = points.filter(
        (pl.col("phase") == Phase.MONITORING) & (pl.col("n") > 0) & pl.col("centre").is_not_null()
    ).sort(*SERIES_KEY, "month")
    watched = _add_pooled_counts(watched).with_columns(
        side=(pl.col("value") - pl.col("centre")).sign().cast(pl.Int8)
    )
    watched = watched.with_columns(run=pl.struct(_RUN_KEY).rle_id())
    since = watched.join(_first_months(watched), on="run", how="inner").filter(
        pl.col("month") >= pl.col("since_month")
    )
    summed = since.with_columns(
        month_events=pl.col("n_events"),
        month_n=pl.col("n"),
        n_events=pl.col("n_events").cum_sum().over("run"),
        n=pl.col("n").cum_sum().over("run"),
    )
    return add_stakes(summed.filter(pl.col("state") == PointState.LOOK))


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


def _first_months(watched: pl.DataFrame) -> pl.DataFrame:
    """since_month of every run that holds a look."""
    starts = watched.group_by("run").agg(pl.col("month").min().alias("run_start"))
    rules = pl.col("rules").first()
    reach = (
        pl.when(rules.list.contains(HALF_YEAR.code))
        .then(pl.col("month").first().dt.offset_by(f"-{HALF_YEAR.n_months - 1}mo"))
        .when(rules.list.contains(QUARTER.code))
        .then(pl.col("month").first().dt.offset_by(f"-{QUARTER.n_months - 1}mo"))
        .otherwise(pl.col("month").first())
    )
    looks = watched.filter(pl.col("state") == PointState.LOOK)
    first = looks.group_by("run", maintain_order=True).agg(reach.alias("reach"))
    return first.join(starts, on="run").select(
        "run", since_month=pl.max_horizontal("run_start", "reach")
    )
