"""Which measures are ready for a model, and over which months it is fitted."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime

import polars as pl

from qa.case_mix.model import FittedModel, fit_model
from qa.model.adjustment import Adjustment
from qa.model.case_mix_schemas import RISK_COEFFICIENTS, RISK_MODELS
from qa.model.definitions import Measure, Settings


def freeze_models(
    case_mix: pl.DataFrame,
    *,
    existing: pl.DataFrame,
    adjustments: Iterable[Adjustment],
    measures: Mapping[str, Measure],
    settings: Settings,
    set_at: datetime,
    set_by: str,
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Fit a first model for every adjusted measure and criteria set that has none.

    Args:
        case_mix: CASE_MIX_COUNTS.
        existing: RISK_MODELS frozen earlier; they are left alone.
        settings: baseline_months: length of the period.
    Returns: new rows of RISK_MODELS and RISK_COEFFICIENTS; empty where nothing is ready.
    Method: the first baseline_months months with exams under one criteria set, once they are
        over (a later month is known), or as many more as it takes to reach the events that the
        adjustment asks for. The first model judges all months of its criteria set.
    Weak when: the network's first months are not like the later ones.
    """
    has_model = set(existing.select("measure_id", "criteria_id").iter_rows())
    found = [
        _first_model(case_mix, criteria_id, measure, adjustment, settings, set_at, set_by)
        for adjustment, measure in _in_use(adjustments, measures)
        for criteria_id in case_mix["criteria_id"].unique().sort()
        if (measure.id, criteria_id) not in has_model
    ]
    ready = [one for one in found if one is not None]
    return (
        pl.concat([RISK_MODELS.empty(), *(one.model for one in ready)]),
        pl.concat([RISK_COEFFICIENTS.empty(), *(one.coefficients for one in ready)]),
    )


def _in_use(
    adjustments: Iterable[Adjustment], measures: Mapping[str, Measure]
) -> list[tuple[Adjustment, Measure]]:
    """The newest version of each measure's adjustment."""
    newest: dict[str, Adjustment] = {}
    for one in sorted(adjustments, key=lambda one: one.version):
        newest[one.measure] = one
    return [(one, measures[key]) for key, one in sorted(newest.items()) if key in measures]


def _first_model(
    case_mix: pl.DataFrame,
    criteria_id: str,
    measure: Measure,
    adjustment: Adjustment,
    settings: Settings,
    set_at: datetime,
    set_by: str,
) -> FittedModel | None:
    period = find_period(case_mix, criteria_id, measure, adjustment, settings=settings)
    if period is None:
        return None
    return fit_model(
        case_mix,
        measure=measure,
        adjustment=adjustment,
        criteria_id=criteria_id,
        period=period,
        in_force_from=date.min.replace(year=1900),
        version_no=1,
        set_at=set_at,
        set_by=set_by,
        reason="first months with exams, frozen without change",
    )


def find_period(
    case_mix: pl.DataFrame,
    criteria_id: str,
    measure: Measure,
    adjustment: Adjustment,
    *,
    settings: Settings,
) -> tuple[date, date] | None:
    """First and last month of a first model; None while there are too few."""
    months = (
        case_mix.filter(criteria_id=criteria_id)
        .group_by("month")
        .agg(pl.col({*measure.numerator, *measure.denominator}).sum())
        .select(
            "month",
            n_events=pl.sum_horizontal(measure.numerator),
            n=pl.sum_horizontal(measure.denominator),
        )
        .filter(pl.col("n") > 0)
        .sort("month")
        .with_columns(pl.col("n_events", "n").cum_sum(), place=pl.int_range(1, pl.len() + 1))
    )
    fewer = pl.min_horizontal("n_events", pl.col("n") - pl.col("n_events"))
    ready = months.filter(
        (pl.col("place") >= settings.baseline_months)
        & (fewer >= adjustment.min_total_events)
        & (pl.col("month") < pl.lit(case_mix["month"].max(), dtype=pl.Date))
    )
    return (months["month"][0], ready["month"][0]) if ready.height else None
