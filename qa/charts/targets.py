"""Targets of the network, beside the limits: in control but off target is a verdict of its own."""

from collections.abc import Sequence

import numpy as np
import polars as pl

from qa.charts.series import SERIES_KEY
from qa.model.definitions import Measure, Target
from qa.model.months import month_of
from qa.model.words import Better, PointState, TargetVerdict
from qa.stats.intervals import wilson_interval
from qa.stats.runs import window_sums

# Months that are held against a target together: one month alone hardly ever tells.
MONTHS = 12


def unknown_targets(targets: Sequence[Target], measures: Sequence[Measure]) -> list[str]:
    """Names of measures that targets are set for and that do not exist."""
    known = {name for one in measures for name in (one.id, one.key)}
    return [one.measure for one in targets if one.measure not in known]


def add_targets(
    points: pl.DataFrame, *, targets: Sequence[Target], measures: Sequence[Measure]
) -> pl.DataFrame:
    """Fill target and target_verdict of CHART_POINTS.

    Args: targets: of network.toml, each for a measure's id or key from a day on.
    Returns: the same rows, in their order.
    Method: the share of the last twelve months under the same criteria set, with its Wilson 95 %
        interval. Off target: the whole interval lies on the bad side of the target (on either
        side where the measure has no good direction). On target: it does not, and there are
        exams enough for a verdict (the measure's min_n); else too few to say. A month that is
        steady and off target is "in control but off target": nothing changed, and what is usual
        is not what is wanted.
    Weak when: targets were set for other patients or criteria.
    """
    table = _in_force(targets, measures)
    if table.is_empty():
        return points
    ordered = points.with_row_index("place").sort(*SERIES_KEY, "month")
    events, n = (_last_months(ordered, name) for name in ("n_events", "n"))
    lower, upper = wilson_interval(events, n)
    sums = ordered.drop("target", "target_verdict").with_columns(
        pl.Series("year_n", n), pl.Series("low", lower), pl.Series("high", upper)
    )
    held = sums.sort("month").join_asof(
        table, on="month", by="measure_id", strategy="backward", check_sortedness=False
    )
    return held.with_columns(target_verdict=_verdict()).sort("place").select(points.columns)


def _in_force(targets: Sequence[Target], measures: Sequence[Measure]) -> pl.DataFrame:
    ids = {name: one for one in measures for name in (one.id, one.key)}
    rows = [
        (
            ids[one.measure].id,
            month_of(one.from_day),
            one.value,
            ids[one.measure].min_n,
            str(ids[one.measure].better),
        )
        for one in targets
    ]
    schema = {
        "measure_id": pl.String,
        "month": pl.Date,
        "target": pl.Float64,
        "fewest": pl.Int64,
        "good": pl.String,
    }
    return pl.DataFrame(rows, schema=schema, orient="row").sort("month")


def _last_months(ordered: pl.DataFrame, name: str) -> np.ndarray:
    months = (ordered["month"].dt.year() * 12 + ordered["month"].dt.month()).to_numpy()
    segments = ordered.select(pl.struct(SERIES_KEY).rle_id()).to_series().to_numpy()
    return window_sums(
        ordered[name].to_numpy(),
        months.astype(np.int64),
        segments.astype(np.int64),
        n_months=MONTHS,
    )


def _verdict() -> pl.Expr:
    target, good = pl.col("target"), pl.col("good")
    is_over, is_under = pl.col("low") > target, pl.col("high") < target
    is_off = (is_over & (good != Better.HIGHER.value)) | (is_under & (good != Better.LOWER.value))
    is_steady = pl.col("state") == PointState.STEADY.value
    return (
        pl.when(target.is_null())
        .then(None)
        .when(pl.col("year_n") < pl.col("fewest"))
        .then(pl.lit(TargetVerdict.FEW.value))
        .when(is_off & is_steady)
        .then(pl.lit(TargetVerdict.STEADY_OFF.value))
        .when(is_off)
        .then(pl.lit(TargetVerdict.OFF.value))
        .otherwise(pl.lit(TargetVerdict.ON.value))
    )
