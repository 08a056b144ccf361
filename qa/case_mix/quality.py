"""How well frozen models fit: what they were fitted on, and the months since."""

from collections.abc import Mapping

import numpy as np
import polars as pl

from qa.case_mix.cells import COVARIATE_COLUMNS
from qa.case_mix.expected import expected_shares
from qa.case_mix.model import collapse
from qa.model.case_mix_schemas import RISK_CALIBRATION, RISK_QUALITY
from qa.model.definitions import Measure
from qa.stats.fit_quality import auc, calibration_bands, calibration_line

FIT, SINCE = "fit", "since"


def risk_quality(
    case_mix: pl.DataFrame,
    *,
    models: pl.DataFrame,
    coefficients: pl.DataFrame,
    measures: Mapping[str, Measure],
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Discrimination and calibration of each model, on its own months and on later ones.

    Args:
        case_mix: CASE_MIX_COUNTS. models, coefficients: RISK_MODELS, RISK_COEFFICIENTS.
    Returns: RISK_QUALITY and RISK_CALIBRATION, sorted by their keys; a period without exams has
        no row.
    Method: on its own months a model looks better than it is; the later months tell. An intercept
        away from 0 there means that the network itself has changed, a slope away from 1 that
        covariates have come to weigh otherwise.
    """
    quality, bands = [RISK_QUALITY.empty()], [RISK_CALIBRATION.empty()]
    for model in models.iter_rows(named=True):
        own = coefficients.filter(model_id=model["model_id"])
        rows = case_mix.filter(criteria_id=model["criteria_id"])
        is_fit = pl.col("month").is_between(model["from_month"], model["to_month"])
        is_since = pl.col("month") > model["to_month"]
        for period, test in ((FIT, is_fit), (SINCE, is_since)):
            cells = collapse(rows.filter(test), measures[model["measure_id"]], COVARIATE_COLUMNS)
            if cells.is_empty():
                continue
            one, tenths = _one_period(cells, own)
            name = {"model_id": pl.lit(model["model_id"]), "period": pl.lit(period)}
            quality.append(RISK_QUALITY.conform(one.with_columns(**name)))
            bands.append(RISK_CALIBRATION.conform(tenths.with_columns(**name)))
    return (
        pl.concat(quality).sort(RISK_QUALITY.key),
        pl.concat(bands).sort(RISK_CALIBRATION.key),
    )


def _one_period(
    cells: pl.DataFrame, coefficients: pl.DataFrame
) -> tuple[pl.DataFrame, pl.DataFrame]:
    p = expected_shares(cells, coefficients)
    events, n = cells["n_events"].to_numpy(), cells["n"].to_numpy()
    line = calibration_line(p, events, n)
    numbers = [auc(p, events, n), line.intercept, line.slope]
    rounded = [round(number, 6) + 0.0 if np.isfinite(number) else None for number in numbers]
    quality = pl.DataFrame(
        {
            "n_exams": [int(n.sum())],
            "n_events": [int(events.sum())],
            "expected": [round(float((p * n).sum()), 4)],
            "c_statistic": rounded[:1],
            "intercept": rounded[1:2],
            "slope": rounded[2:],
        },
        schema_overrides={"c_statistic": pl.Float64, "intercept": pl.Float64, "slope": pl.Float64},
    )
    bands = calibration_bands(p, events, n)
    tenths = pl.DataFrame(
        [
            (number, int(band.n), round(band.expected, 8), round(band.observed, 8))
            for number, band in enumerate(bands, start=1)
        ],
        schema={
            "band": pl.Int32,
            "n_exams": pl.Int64,
            "expected": pl.Float64,
            "observed": pl.Float64,
        },
        orient="row",
    )
    return quality, tenths
