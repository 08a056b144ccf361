"""Funnels: units of one kind against each other over the same months."""

from collections.abc import Sequence
from datetime import date

import polars as pl

from qa.charts.fair_funnel import adjust_funnel, expected_sum
from qa.charts.series import charted_values
from qa.model.definitions import Measure
from qa.model.months import add_months
from qa.model.schemas import FUNNEL_POINTS
from qa.model.words import Better, PointState
from qa.stats.intervals import wilson_interval
from qa.stats.limits import funnel_limits


def funnel_points(
    values: pl.DataFrame,
    *,
    measures: Sequence[Measure],
    unit_kind: str,
    to_month: date,
    months: int,
) -> pl.DataFrame:
    """Compare all units of one kind over the same months, each by its own number of exams.

    Args:
        values: MEASURE_VALUES; rows of other unit kinds and months are left out.
        measures: the measures in use.
        unit_kind: site, operator or device.
        to_month: last month of the period.
        months: its length in months.
    Returns: FUNNEL_POINTS, one row per unit, measure and criteria set with exams in the
        period, sorted by its key.
    Method: centre is the share over all units together; limits are exact binomial,
        interpolated. State, on the bad side only: look outside the 99.8 % limits, watch outside
        the 95 % limits; few where exams are below the measure's min_n and nothing else is
        said; else steady.
        Where values carry what a model expects of the patients, each unit is held against its
        own expectation (qa/charts/fair_funnel.py), and adjusted is compared instead of value.
    Weak when: units differ by more than chance, or by patients that no covariate tells: outside
        the limits then means "look why", not "worse".
    References: Spiegelhalter, Stat Med 2005; 24: 1185-1202.
    """
    from_month = add_months(to_month, 1 - months)
    period = values.filter(
        (pl.col("unit_kind") == str(unit_kind)) & pl.col("month").is_between(from_month, to_month)
    )
    sums = (
        charted_values(period, measures)
        .group_by("unit_kind", "unit_id", "measure_id", "criteria_id", "better", "min_n")
        .agg(
            pl.col("site_id").sort_by("month").last(),
            pl.col("n_events").sum(),
            pl.col("n").sum(),
            expected_sum(),
        )
    )
    all_units = pl.col("n_events").sum() / pl.col("n").sum()
    with_centre = sums.with_columns(
        from_month=pl.lit(from_month),
        to_month=pl.lit(to_month),
        value=pl.when(pl.col("n") > 0).then(pl.col("n_events") / pl.col("n")),
        centre=all_units.over("measure_id", "criteria_id").fill_nan(None),
    )
    ordered = with_centre.sort("measure_id", "criteria_id", "unit_id")
    points = adjust_funnel(_add_limits(ordered)).with_columns(state=_state())
    return FUNNEL_POINTS.conform(points).sort(FUNNEL_POINTS.key)


def _add_limits(points: pl.DataFrame) -> pl.DataFrame:
    events, n = points["n_events"].to_numpy(), points["n"].to_numpy()
    centre = points["centre"].to_numpy()
    named = dict(zip(("lower", "upper"), wilson_interval(events, n), strict=True))
    named |= zip(("lcl95", "ucl95"), funnel_limits(centre, n, level=0.95), strict=True)
    named |= zip(("lcl998", "ucl998"), funnel_limits(centre, n, level=0.998), strict=True)
    return points.with_columns(
        pl.Series(name, numbers, dtype=pl.Float64).fill_nan(None) for name, numbers in named.items()
    )


def is_outside(level: str) -> pl.Expr:
    """True where a funnel point lies outside the limits of the level on the measure's bad side."""
    shown = pl.coalesce("adjusted", "value")
    is_above = shown > pl.col(f"ucl{level}")
    is_below = shown < pl.col(f"lcl{level}")
    return (is_above & (pl.col("better") != Better.HIGHER)) | (
        is_below & (pl.col("better") != Better.LOWER)
    )


def _state() -> pl.Expr:
    return (
        pl.when(is_outside("998"))
        .then(pl.lit(str(PointState.LOOK)))
        .when(is_outside("95"))
        .then(pl.lit(str(PointState.WATCH)))
        .when(pl.col("n") < pl.col("min_n"))
        .then(pl.lit(str(PointState.FEW)))
        .otherwise(pl.lit(str(PointState.STEADY)))
    )
