"""Freeze baselines: the period that a chart's centre line and limits come from."""

from collections.abc import Sequence
from datetime import datetime

import polars as pl

from qa.charts.series import SERIES_KEY, charted_values
from qa.model.definitions import Measure, Settings
from qa.model.schemas import BASELINES


def freeze_baselines(
    values: pl.DataFrame,
    *,
    existing: pl.DataFrame,
    measures: Sequence[Measure],
    settings: Settings,
    set_at: datetime,
    set_by: str,
) -> pl.DataFrame:
    """Freeze a baseline for every series that is ready for one and has none.

    Args:
        values: MEASURE_VALUES of all units, the network included.
        existing: BASELINES frozen earlier; their series are left alone, whatever the values
            say by now.
        measures: the measures in use; others are not charted.
        settings: baseline_months and baseline_min_exams.
        set_at, set_by: when and by whom, as written beside the baseline.
    Returns: new rows of BASELINES sorted by baseline_id; empty where nothing is ready.
    Method: the first baseline_months months with exams, and as many more as it takes to reach
        baseline_min_exams exams. The last of them has to be over: a later month is known
        anywhere in the network. No month is taken out. Criteria sets are never joined: a new
        set starts a new baseline.
    Weak when: the unit was already drifting in its first months; then RUL-003 compares it with
        its peers.
    """
    ready = _ready_series(charted_values(values, measures), settings)
    new = ready.join(existing, on=SERIES_KEY, how="anti")
    return BASELINES.conform(
        new.with_columns(
            baseline_id=pl.concat_str(
                *SERIES_KEY, pl.col("to_month").dt.strftime("%Y-%m"), separator="."
            ),
            centre=pl.col("n_events") / pl.col("n"),
            set_by=pl.lit(set_by),
            reason=pl.format("first {} months with exams, frozen without change", "n_months"),
            set_at=pl.lit(set_at),
        )
    ).sort("baseline_id")


def _ready_series(values: pl.DataFrame, settings: Settings) -> pl.DataFrame:
    """The first month of each series at which its baseline is complete, with its sums."""
    so_far = (
        values.filter(pl.col("n") > 0)
        .sort(*SERIES_KEY, "month")
        .with_columns(
            pl.col("n_events", "n").cum_sum().over(SERIES_KEY),
            n_months=pl.int_range(1, pl.len() + 1).over(SERIES_KEY),
            from_month=pl.col("month").min().over(SERIES_KEY),
        )
    )
    return (
        so_far.filter(
            (pl.col("n_months") >= settings.baseline_months)
            & (pl.col("n") >= settings.baseline_min_exams)
            & (pl.col("month") < pl.lit(values["month"].max(), dtype=pl.Date))
        )
        .group_by(SERIES_KEY)
        .first()
        .rename({"month": "to_month"})
    )
