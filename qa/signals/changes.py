"""Signals of control charts: a unit has changed against its baseline."""

from collections.abc import Mapping

import numpy as np
import polars as pl
from numpy.typing import ArrayLike, NDArray

from qa.charts.rules import HALF_YEAR, QUARTER
from qa.charts.series import SERIES_KEY
from qa.model.words import Phase, PointState
from qa.stats.change_point import change_month
from qa.stats.intervals import wilson_interval
from qa.stats.runs import window_sums

MOST_MONTHS_BACK = 36


def find_changes(points: pl.DataFrame, *, bad_sides: Mapping[str, int]) -> pl.DataFrame:
    """One row per watched month in which a rule asks for a look.

    Args:
        points: CHART_POINTS of watched measures.
        bad_sides: measure id → 1 where more is worse, -1 where less is; a measure that is not
            named is bad on whichever side the month lies.
    Returns: the point's own columns with the month's counts as month_events and month_n, the
        pooled counts of RUL-002 and RUL-005, since_month with the months since_first to
        since_last that it may have been, and over the months since since_month: n_events, n,
        value, expected, at_stake and its interval. side is 1 above, -1 below the centre.
    Method: since_month is the most likely month of a lasting step away from the centre line
        (qa/stats/change_point.py) among the last 36 watched months of the same baseline; the
        others hold nine tenths. at_stake is observed minus expected over those months, turned so
        that more is worse; where the centre line follows the patients of each month, centre is
        its mean over those exams.
    Weak when: the change came by and by; then since_month is about where half was reached. As the
        month is chosen where most speaks for a change, at_stake errs to the high side.
    """
    watched = points.filter(
        (pl.col("phase") == Phase.MONITORING) & (pl.col("n") > 0) & pl.col("centre").is_not_null()
    ).sort(*SERIES_KEY, "month")
    own_side = (pl.col("value") - pl.col("centre")).sign().cast(pl.Int8)
    known = pl.col("measure_id").replace_strict(dict(bad_sides), default=None, return_dtype=pl.Int8)
    watched = _add_pooled_counts(watched).with_columns(
        side=known.fill_null(own_side), is_adjusted=pl.col("expected").is_not_null()
    )
    return add_stakes(_with_starts(watched))


def _with_starts(watched: pl.DataFrame) -> pl.DataFrame:
    """Rows that ask for a look, each with its change month and the counts from it on."""
    part = pl.struct(*SERIES_KEY, "baseline_id").rle_id()
    numbered = watched.with_columns(part=part).with_row_index("row")
    starts = numbered.group_by("part", maintain_order=True).agg(pl.col("row").min())["row"]
    asked = numbered.filter(pl.col("state") == PointState.LOOK)
    events, n = (numbered[name].to_numpy().astype(np.int64) for name in ("n_events", "n"))
    bad = np.where(numbered["side"].to_numpy() > 0, events, n - events)
    centre = numbered["centre"].to_numpy()
    known = np.where(numbered["side"].to_numpy() > 0, centre, 1 - centre)
    at: dict[str, list[int]] = {"estimate": [], "first": [], "last": []}
    for row, number in asked.select("row", "part").iter_rows():
        begin = max(starts[number], row + 1 - MOST_MONTHS_BACK)
        months = slice(begin, row + 1)
        found = change_month(bad[months], n[months], centre=known[months])
        for name, places in at.items():
            places.append(begin + getattr(found, name))
    months_of = numbered["month"]
    rows, begins = asked["row"].to_numpy().astype(np.int64), np.array(at["estimate"], np.int64)
    sums = {
        name: np.cumsum(counts)[rows] - (np.cumsum(counts) - counts)[begins]
        for name, counts in (("n_events", events), ("n", n), ("should", n * centre))
    }
    return asked.with_columns(
        pl.col("n_events").alias("month_events"),
        pl.col("n").alias("month_n"),
        months_of.gather(at["estimate"]).alias("since_month"),
        months_of.gather(at["first"]).alias("since_first"),
        months_of.gather(at["last"]).alias("since_last"),
        pl.Series("n_events", sums["n_events"], dtype=pl.Int64),
        pl.Series("n", sums["n"], dtype=pl.Int64),
        pl.Series("centre", sums["should"] / np.maximum(sums["n"], 1), dtype=pl.Float64),
    )


def add_stakes(signals: pl.DataFrame) -> pl.DataFrame:
    """Add value, expected, direction and exams at stake from n_events, n, centre and side."""
    stakes = stakes_of(*(signals[name].to_numpy() for name in ("n_events", "n", "centre", "side")))
    return signals.with_columns(
        *(pl.Series(name, numbers, dtype=pl.Float64) for name, numbers in stakes.items()),
        direction=pl.when(pl.col("side") > 0).then(pl.lit("higher")).otherwise(pl.lit("lower")),
    )


def stakes_of(
    n_events: ArrayLike, n: ArrayLike, centre: ArrayLike, side: ArrayLike
) -> dict[str, NDArray[np.float64]]:
    """value, expected, at_stake and its ends by Wilson's interval, bad side up, as arrays."""
    events, size, share, up = (np.asarray(one, float) for one in (n_events, n, centre, side))
    low, high = (end * size for end in wilson_interval(np.asarray(n_events), np.asarray(n)))
    expected = size * share
    return {
        "value": events / size,
        "expected": expected,
        "at_stake": (events - expected) * up,
        "at_stake_lower": np.where(up > 0, low - expected, expected - high),
        "at_stake_upper": np.where(up > 0, high - expected, expected - low),
    }


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
