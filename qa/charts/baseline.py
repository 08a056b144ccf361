"""Baselines: the period that a chart's centre line and limits come from."""

from collections.abc import Sequence
from datetime import date, datetime

import numpy as np
import polars as pl

from qa.charts.equipment import add_equipment
from qa.charts.series import SERIES_KEY, charted_values
from qa.model.definitions import Measure, Settings
from qa.model.months import add_months
from qa.model.schemas import BASELINES
from qa.stats.phase_one import months_kept

# Months of a baseline below which its limits are hardly known, and charts say so.
FEWEST_MONTHS = 12

# A part of a series with one criteria set and one set of devices.
PART_KEY: tuple[str, ...] = (*SERIES_KEY, "equipment_from")

# Counts of exams that are told by what came before them.
LOOKING_BACK = frozenset({"n_repeats", "n_recalls"})


def freeze_baselines(
    values: pl.DataFrame,
    *,
    existing: pl.DataFrame,
    measures: Sequence[Measure],
    settings: Settings,
    set_at: datetime,
    set_by: str,
    changes: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """Freeze a baseline for every series that is ready for one and has none.

    Args:
        values: MEASURE_VALUES of all units, the network included.
        existing: BASELINES frozen earlier; their series are left alone, whatever the values
            say by now.
        measures: the measures in use; others are not charted.
        settings: baseline_months, baseline_min_exams and limit_sigmas.
        set_at, set_by: when and by whom, as written beside the baseline.
        changes: equipment_changes; a measure that depends on devices begins anew at each.
    Returns: new rows of BASELINES sorted by baseline_id; empty where nothing is ready.
    Method: the first baseline_months months with exams, and as many more as it takes to reach
        baseline_min_exams exams. Repeats look back: the network's first months, before which
        nothing is known, would hold too few of them and are left out. The last month has to be
        over: a later one is known anywhere in the network. Months outside their own limits are
        taken out by the rule of qa/stats/phase_one.py. Criteria sets are never joined: a new
        set starts a new baseline. Nothing is ever re-set here; that is a person's decision
        (decided_baselines).
    Weak when: the unit was already drifting in its first months; then RUL-003 compares it with
        its peers.
    """
    charted = add_equipment(charted_values(values, measures), changes, measures=measures)
    charted = _with_their_past(charted, measures, settings)
    ready = _ready_parts(charted, settings)
    known = add_equipment(existing, changes, measures=measures, month="from_month")
    new = ready.join(known, on=PART_KEY, how="anti", nulls_equal=True)
    summed = _sum_up(_months_between(charted, new), settings)
    versions = known.group_by(SERIES_KEY).agg(n_before=pl.len())
    return BASELINES.conform(
        summed.join(versions, on=SERIES_KEY, how="left").with_columns(
            baseline_id=_baseline_id(),
            version_no=pl.col("n_before").fill_null(0)
            + pl.col("from_month").rank("ordinal").over(SERIES_KEY),
            judges_from=pl.lit(None, dtype=pl.Date),
            set_by=pl.lit(set_by),
            reason=pl.format("first {} months with exams, frozen by rule", "n_months_all"),
            set_at=pl.lit(set_at),
        )
    ).sort("baseline_id")


def decided_baselines(
    values: pl.DataFrame,
    *,
    existing: pl.DataFrame,
    settings: Settings,
    from_month: date,
    to_month: date,
    set_at: datetime,
    set_by: str,
    reason: str,
) -> pl.DataFrame:
    """The baseline that a person sets for a series, from a month on.

    Args:
        values: MEASURE_VALUES of the series: one unit, measure and criteria set.
        existing: BASELINES known so far.
        from_month, to_month: its period, both included; from from_month on it is drawn and,
            after to_month, judges; from then on baselines decided earlier no longer do.
        others: as freeze_baselines.
    Returns: one row of BASELINES; none where the period holds no exams.
    """
    period = values.filter(
        pl.col("month").is_between(from_month, to_month), pl.col("n") > 0
    ).with_columns(equipment_from=pl.lit(None, dtype=pl.Date))
    same = period.select(SERIES_KEY).unique()
    n_before = existing.join(same, on=SERIES_KEY, how="semi").height
    number = n_before + 1
    return BASELINES.conform(
        _sum_up(period, settings)
        .with_columns(from_month=pl.lit(from_month), to_month=pl.lit(to_month))
        .with_columns(
            judges_from=pl.lit(from_month),
            version_no=pl.lit(number),
            baseline_id=pl.concat_str(_baseline_id(), pl.lit(f".v{number}")),
            set_by=pl.lit(set_by),
            reason=pl.lit(reason),
            set_at=pl.lit(set_at),
        )
    )


def judging_baselines(baselines: pl.DataFrame) -> pl.DataFrame:
    """Baselines that some month is still drawn against, with judges_from filled in.

    A later decision takes over from its month on, so that an earlier one whose period begins in
    or after that month is left out. It stays on record; what was published stays as it was.
    """
    first = pl.col("judges_from").fill_null(pl.col("to_month").dt.offset_by("1mo"))
    if not baselines["judges_from"].count():
        return baselines.with_columns(judges_from=first)
    ordered = baselines.with_columns(judges_from=first).sort("set_at", "version_no", "to_month")
    later = (
        pl.when(pl.col("judges_from") == pl.col("from_month"))
        .then("judges_from")
        .reverse()
        .cum_min()
        .forward_fill()
        .shift(1)
        .reverse()
        .over(SERIES_KEY)
    )
    return ordered.filter(later.is_null() | (pl.col("from_month") < later)).with_columns(
        judges_from=pl.min_horizontal("judges_from", later)
    )


def _baseline_id() -> pl.Expr:
    return pl.concat_str(*SERIES_KEY, pl.col("to_month").dt.strftime("%Y-%m"), separator=".")


def _with_their_past(
    values: pl.DataFrame, measures: Sequence[Measure], settings: Settings
) -> pl.DataFrame:
    """Values without the network's first months where a measure looks back beyond them."""
    first = values["month"].min()
    if not isinstance(first, date):
        return values
    looking = [one.id for one in measures if LOOKING_BACK.intersection(one.numerator)]
    known_from = add_months(first, -(-settings.repeat_window_days // 30))
    return values.filter(~pl.col("measure_id").is_in(looking) | (pl.col("month") >= known_from))


def _ready_parts(values: pl.DataFrame, settings: Settings) -> pl.DataFrame:
    """First and last month of the baseline of each part of a series that has one complete."""
    so_far = (
        values.filter(pl.col("n") > 0)
        .sort(*SERIES_KEY, "month")
        .with_columns(
            pl.col("n").cum_sum().over(PART_KEY),
            n_months=pl.int_range(1, pl.len() + 1).over(PART_KEY),
            from_month=pl.col("month").min().over(PART_KEY),
        )
    )
    return (
        so_far.filter(
            (pl.col("n_months") >= settings.baseline_months)
            & (pl.col("n") >= settings.baseline_min_exams)
            & (pl.col("month") < pl.lit(values["month"].max(), dtype=pl.Date))
        )
        .group_by(PART_KEY)
        .first()
        .select(*PART_KEY, "from_month", to_month="month")
    )


def _months_between(values: pl.DataFrame, periods: pl.DataFrame) -> pl.DataFrame:
    """The months with exams of each part that lie in its period."""
    return values.join(periods, on=PART_KEY, how="inner", nulls_equal=True).filter(
        pl.col("n") > 0, pl.col("month").is_between("from_month", "to_month")
    )


def _sum_up(months: pl.DataFrame, settings: Settings) -> pl.DataFrame:
    """One row per part: sums of the months that stay, and those that were taken out."""
    ordered = months.sort(*PART_KEY, "month")
    groups = ordered.select(pl.struct(PART_KEY).rle_id()).to_series().to_numpy().astype(np.int64)
    kept, unsteady = months_kept(
        ordered["n_events"].to_numpy(),
        ordered["n"].to_numpy(),
        groups,
        sigmas=settings.limit_sigmas,
    )
    is_kept = pl.col("is_kept")
    bounds = [name for name in ("from_month", "to_month") if name in ordered.columns]
    return (
        ordered.with_columns(
            pl.Series("is_kept", kept, dtype=pl.Boolean),
            pl.Series("is_unsteady", unsteady[groups], dtype=pl.Boolean),
        )
        .group_by(PART_KEY, maintain_order=True)
        .agg(
            pl.col("site_id", *bounds, "is_unsteady").first(),
            pl.col("n_events", "n").filter(is_kept).sum(),
            n_months=is_kept.sum(),
            n_months_all=pl.len(),
            removed_months=pl.col("month").filter(~is_kept).dt.strftime("%Y-%m"),
        )
        .with_columns(centre=pl.col("n_events") / pl.col("n"))
    )
