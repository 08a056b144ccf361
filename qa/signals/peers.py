"""Signals of funnels: a unit differs from its peers by more than they differ among themselves."""

from collections.abc import Mapping
from datetime import date

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.special import ndtri

from qa.charts.rules import FUNNEL, QUARTER
from qa.model.words import PointState
from qa.signals.changes import add_stakes
from qa.stats.spread import unit_spread

_FUNNEL_KEY = ("unit_kind", "measure_id", "criteria_id", "to_month")


def find_outliers(
    funnel: pl.DataFrame, points: pl.DataFrame, *, tails: Mapping[date, float]
) -> pl.DataFrame:
    """Funnel points that differ from their peers, as signals of the funnel's last month.

    Args:
        funnel: FUNNEL_POINTS of watched measures.
        points: CHART_POINTS of watched measures, for the last three months of each unit.
        tails: month → probability beyond which a unit differs; 0.001 where none is given.
    Returns: rows as find_changes gives them, with the peers' counts as others_events and
        others_n and the number of units as n_units.
    Method: outside the exact 99.8 % limits on the bad side, and still beyond the month's tail
        (3.09 standard errors for 0.001) when the variance between units is added to that of
        chance; at least two exams count against it, and the last three months still lie at
        least halfway there: what is over needs nobody.
        Where patients are adjusted for, each unit is held against what was expected of its own.
    Weak when: other patients are the reason and nothing is adjusted; the sentence says so.
    """
    should = pl.col("expected") / pl.col("n")
    compared = funnel.filter(pl.col("n") > 0).with_columns(
        centre=pl.coalesce(should, "centre"), is_adjusted=should.is_not_null()
    )
    has_look = (pl.col("state") == PointState.LOOK).any().over(_FUNNEL_KEY)
    compared = compared.filter(has_look).sort(*_FUNNEL_KEY, "unit_id")
    parts = compared.partition_by(_FUNNEL_KEY, maintain_order=True)
    z = np.concatenate([np.zeros(0), *(_adjusted_z(part) for part in parts)])
    beyond = pl.col("to_month").replace_strict(
        dict(tails), default=FUNNEL.tail, return_dtype=pl.Float64
    )
    least = -ndtri(compared.select(beyond).to_series().to_numpy())
    side = (pl.col("value") - pl.col("centre")).sign().cast(pl.Int8)
    bad = pl.when(side > 0).then("n_events").otherwise(pl.col("n") - pl.col("n_events"))
    found = _with_peers(compared).filter(
        (pl.col("state") == PointState.LOOK)
        & pl.Series(np.abs(z) >= least, dtype=pl.Boolean)
        & (bad >= FUNNEL.min_bad)
    )
    return _as_signals(_still_so(found, points))


def _adjusted_z(part: pl.DataFrame) -> NDArray[np.float64]:
    """Distances of one funnel's units; a centre of 0 or 1 leaves nothing to compare."""
    target = part["centre"].to_numpy()
    if part.height < 2 or not ((target > 0) & (target < 1)).all():
        return np.zeros(part.height)
    return unit_spread(
        part["n_events"].to_numpy(), part["n"].to_numpy(), target=target, is_consistent=True
    ).z_adjusted


def _still_so(found: pl.DataFrame, points: pl.DataFrame) -> pl.DataFrame:
    """Outliers whose last three months lie nearer to their share than to the centre."""
    unit = ["unit_kind", "unit_id", "measure_id", "criteria_id"]
    months = points.select(*unit, "month", month_events="n_events", month_n="n")
    start = pl.col("to_month").dt.offset_by(f"-{QUARTER.n_months - 1}mo")
    lately = (
        found.select(*unit, "to_month")
        .join(months, on=unit, how="inner")
        .filter(pl.col("month").is_between(start, pl.col("to_month")) & (pl.col("month_n") > 0))
        .group_by(*unit, "to_month")
        .agg(lately=pl.col("month_events").sum() / pl.col("month_n").sum())
    )
    middle = (pl.col("value") + pl.col("centre")) / 2
    is_over = (pl.col("lately") - middle).sign() == (pl.col("centre") - pl.col("value")).sign()
    return (
        found.join(lately, on=[*unit, "to_month"], how="left")
        .filter(~is_over.fill_null(False))
        .drop("lately")
    )


def _with_peers(compared: pl.DataFrame) -> pl.DataFrame:
    return compared.with_columns(
        others_events=pl.col("n_events").sum().over(_FUNNEL_KEY) - pl.col("n_events"),
        others_n=pl.col("n").sum().over(_FUNNEL_KEY) - pl.col("n"),
        n_units=pl.len().over(_FUNNEL_KEY).cast(pl.Int64),
    )


def _as_signals(found: pl.DataFrame) -> pl.DataFrame:
    return add_stakes(
        found.with_columns(
            month=pl.col("to_month"),
            since_month=pl.col("from_month"),
            since_first=pl.col("from_month"),
            since_last=pl.col("to_month"),
            side=(pl.col("value") - pl.col("centre")).sign().cast(pl.Int8),
            rules=pl.lit([FUNNEL.code], dtype=pl.List(pl.String)),
        )
    )
