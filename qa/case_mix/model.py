"""Case-mix counts → a frozen model of expected events, by logistic regression on cells."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa.model.adjustment import Adjustment
from qa.model.case_mix_schemas import RISK_COEFFICIENTS, RISK_MODELS
from qa.model.definitions import Measure
from qa.stats.logistic import LogisticFit, fit_logistic
from qa.stats.separable import separable_columns

Floats = NDArray[np.float64]

ESTIMATED, REFERENCE, FOLDED, TIED = "estimated", "reference", "folded", "not separable"

# Coefficients are frozen to so many decimals, so that every machine has the same ones.
DECIMALS = 10


@dataclass(frozen=True)
class FittedModel:
    """RISK_MODELS (one row) and RISK_COEFFICIENTS of one model."""

    model: pl.DataFrame
    coefficients: pl.DataFrame


def fit_model(
    case_mix: pl.DataFrame,
    *,
    measure: Measure,
    adjustment: Adjustment,
    criteria_id: str,
    period: tuple[date, date],
    in_force_from: date,
    version_no: int,
    set_at: datetime,
    set_by: str,
    reason: str,
) -> FittedModel | None:
    """Fit what is to be expected of each kind of patient and exam, and freeze it.

    Args:
        case_mix: CASE_MIX_COUNTS.
        period: first and last month that it is fitted on.
        in_force_from: first month whose exams it judges.
    Returns: FittedModel; None where the period holds fewer events, or fewer others, than the
        adjustment asks for.
    Method: logistic regression on main effects, maximum likelihood, on exams collapsed to cells
        of equal levels, which loses nothing. The largest level of a covariate is the reference.
        A level with fewer exams, events or others than asked for is folded into it, so that none
        runs off to infinity; a level that cannot be told apart from others is left out.
        Exams that were not sent a value are a level of their own.
    Weak when: covariates work together (no interactions), or sites that measure badly also see
        other patients: part of their fault then looks like that of the patients.
    """
    inside = case_mix.filter(
        (pl.col("criteria_id") == criteria_id) & pl.col("month").is_between(*period)
    )
    cells = collapse(inside, measure, adjustment.covariates)
    n_events, n = int(cells["n_events"].sum()), int(cells["n"].sum())
    if min(n_events, n - n_events) < max(adjustment.min_total_events, 1):
        return None
    levels = _levels(cells, adjustment)
    fit, tied = _fit(cells, levels)
    coefficients = _coefficient_rows(levels, fit, tied, n_events=n_events, n=n)
    model_id = f"{measure.id}.{criteria_id}.M{version_no}"
    model = pl.DataFrame(
        {
            "model_id": [model_id],
            "measure_id": [measure.id],
            "criteria_id": [criteria_id],
            "version_no": [version_no],
            "adjustment_id": [adjustment.id],
            "fingerprint": [_fingerprint(adjustment, period, coefficients)],
            "from_month": [period[0]],
            "to_month": [period[1]],
            "in_force_from": [in_force_from],
            "n_exams": [n],
            "n_events": [n_events],
            "n_cells": [cells.height],
            "deviance": [round(fit.deviance, 6)],
            "set_by": [set_by],
            "reason": [reason],
            "set_at": [set_at],
        }
    )
    return FittedModel(
        RISK_MODELS.conform(model),
        RISK_COEFFICIENTS.conform(coefficients.with_columns(model_id=pl.lit(model_id))),
    )


def collapse(case_mix: pl.DataFrame, measure: Measure, covariates: Sequence[str]) -> pl.DataFrame:
    """Cells of equal levels with n_events and n, sorted; cells without exams are left out."""
    return (
        case_mix.group_by(covariates)
        .agg(pl.col({*measure.numerator, *measure.denominator}).sum())
        .select(
            *covariates,
            n_events=pl.sum_horizontal(measure.numerator),
            n=pl.sum_horizontal(measure.denominator),
        )
        .filter(pl.col("n") > 0)
        .sort(*covariates)
    )


def _levels(cells: pl.DataFrame, adjustment: Adjustment) -> pl.DataFrame:
    """One row per covariate and level, in a fixed order, with its exams, events and role."""
    parts = []
    for covariate in adjustment.covariates:
        sums = cells.group_by(level=covariate).agg(pl.col("n_events", "n").sum())
        ordered = sums.sort("n", "level", descending=[True, False])
        least = pl.min_horizontal("n_events", pl.col("n") - pl.col("n_events"))
        is_enough = (pl.col("n") >= adjustment.min_exams) & (least >= adjustment.min_events)
        place = pl.int_range(pl.len())
        role = (
            pl.when(place == 0)
            .then(pl.lit(REFERENCE))
            .when(is_enough)
            .then(pl.lit(ESTIMATED))
            .otherwise(pl.lit(FOLDED))
        )
        parts.append(
            ordered.with_columns(covariate=pl.lit(covariate), role=role).select(
                "covariate", "level", "role", "n_events", "n"
            )
        )
    return pl.concat(parts)


def _fit(cells: pl.DataFrame, levels: pl.DataFrame) -> tuple[LogisticFit, set[tuple[str, str]]]:
    """The fit, and the levels that cannot be told apart from others."""
    named = list(levels.filter(role=ESTIMATED).select("covariate", "level").iter_rows())
    columns = [np.ones(cells.height)] + [
        (cells[covariate] == level).to_numpy().astype(np.float64) for covariate, level in named
    ]
    design, n = np.column_stack(columns), cells["n"].to_numpy()
    kept = separable_columns(design, n)
    fit = fit_logistic(design[:, kept], cells["n_events"].to_numpy(), n)
    return fit, {pair for pair, is_kept in zip(named, kept[1:], strict=True) if not is_kept}


def _coefficient_rows(
    levels: pl.DataFrame,
    fit: LogisticFit,
    tied: set[tuple[str, str]],
    *,
    n_events: int,
    n: int,
) -> pl.DataFrame:
    coefficients = np.round(fit.coefficients, DECIMALS).tolist()
    errors = np.round(fit.standard_errors, DECIMALS).tolist()
    numbers = iter(zip(coefficients, errors, strict=True))
    first = next(numbers)
    rows = [("intercept", "", ESTIMATED, *first, n, n_events)]
    for covariate, level, role, events, size in levels.iter_rows():
        is_tied = (covariate, level) in tied
        is_estimated = role == ESTIMATED and not is_tied
        number = next(numbers) if is_estimated else (0.0, None)
        rows.append((covariate, level, TIED if is_tied else role, *number, size, events))
    names = ("covariate", "level", "role", "coefficient", "standard_error", "n_exams", "n_events")
    return pl.DataFrame(
        rows,
        schema=dict(
            zip(
                names,
                (pl.String, pl.String, pl.String, pl.Float64, pl.Float64, pl.Int64, pl.Int64),
                strict=True,
            )
        ),
        orient="row",
    )


def _fingerprint(
    adjustment: Adjustment, period: tuple[date, date], coefficients: pl.DataFrame
) -> str:
    """Coefficients count to nine digits, so that another machine finds the same one."""
    rows = [
        (covariate, level, f"{number:.9f}")
        for covariate, level, number in coefficients.select(
            "covariate", "level", "coefficient"
        ).iter_rows()
    ]
    text = repr((adjustment.fingerprint, *map(str, period), rows))
    return hashlib.sha256(text.encode()).hexdigest()[:12]
