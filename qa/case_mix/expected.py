"""Frozen models + exams → events expected of each site, operator and month."""

from collections.abc import Mapping

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.special import expit

from qa.case_mix.cells import COVARIATE_COLUMNS, count_kinds
from qa.model.case_mix_schemas import EXPECTED_COUNTS
from qa.model.definitions import Measure

Floats = NDArray[np.float64]

INTERCEPT = "intercept"

MICRO = 1_000_000
_SUMS = ("n_events", "n", "expected_micro", "variance_micro")
_UNIT = ("site_id", "operator_id", "month", "criteria_id")


def expected_shares(kinds: pl.DataFrame, coefficients: pl.DataFrame) -> Floats:
    """Probability that a model gives each row.

    Args:
        kinds: rows with the covariates of the model as columns.
        coefficients: RISK_COEFFICIENTS of one model.
    Returns: one probability for each row. A level that the model does not know counts as the
        reference, its largest level.
    """
    table: dict[str, dict[str, float]] = {}
    for covariate, level, number in coefficients.select(
        "covariate", "level", "coefficient"
    ).iter_rows():
        table.setdefault(covariate, {})[level] = number
    log_odds = np.full(kinds.height, table.pop(INTERCEPT)[""])
    for covariate, numbers in table.items():
        log_odds += (
            kinds[covariate]
            .replace_strict(numbers, default=0.0, return_dtype=pl.Float64)
            .to_numpy()
        )
    return np.asarray(expit(log_odds))


def expected_counts(
    exams: pl.DataFrame,
    assessments: pl.DataFrame,
    *,
    models: pl.DataFrame,
    coefficients: pl.DataFrame,
    measures: Mapping[str, Measure],
) -> pl.DataFrame:
    """What each model expects of each site, operator and month.

    Args:
        exams, assessments: as count_case_mix.
        models, coefficients: RISK_MODELS and RISK_COEFFICIENTS.
    Returns: EXPECTED_COUNTS sorted by its key, where the model's measure has exams. Probabilities
        are rounded to millionths for each exam, so that parts add up exactly in any order.
    """
    cells = count_kinds(exams, assessments, by=_UNIT)
    kinds = cells.select(COVARIATE_COLUMNS).unique().with_row_index("kind_no")
    placed = cells.join(kinds, on=COVARIATE_COLUMNS, how="left")
    parts = [EXPECTED_COUNTS.empty()]
    for model in models.iter_rows(named=True):
        own = coefficients.filter(model_id=model["model_id"])
        share = pl.Series(expected_shares(kinds, own)).gather(placed["kind_no"])
        parts.append(_one_model(placed, share, model, measures[model["measure_id"]]))
    return EXPECTED_COUNTS.conform(pl.concat(parts).sort(EXPECTED_COUNTS.key))


def _one_model(
    cells: pl.DataFrame, share: pl.Series, model: Mapping[str, str], measure: Measure
) -> pl.DataFrame:
    events = pl.sum_horizontal(measure.numerator)
    n = pl.sum_horizontal(measure.denominator)
    rows = cells.select(
        *_UNIT,
        n_events=events,
        n=n,
        expected_micro=n * _in_micro(share),
        variance_micro=n * _in_micro(share * (1 - share)),
    ).filter(pl.col("criteria_id") == model["criteria_id"], pl.col("n") > 0)
    sums = rows.group_by(_UNIT).agg(pl.col(_SUMS).sum())
    return EXPECTED_COUNTS.conform(
        sums.with_columns(measure_id=pl.lit(measure.id), model_id=pl.lit(model["model_id"]))
    )


def _in_micro(share: pl.Series) -> pl.Series:
    return (share * MICRO).round().cast(pl.Int64)
