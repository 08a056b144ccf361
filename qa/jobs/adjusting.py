"""Case mix → frozen models → what was to be expected of every unit and month."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

import polars as pl

from qa.case_mix.cells import NEEDED
from qa.case_mix.expected import expected_counts
from qa.case_mix.freeze import freeze_models
from qa.case_mix.quality import risk_quality
from qa.model.case_mix_schemas import EXPECTED_COUNTS
from qa.model.definitions import Network
from qa.model.published import Definitions
from qa.stores.risk_store import (
    append_expected,
    append_models,
    exams_of_months,
    months_to_expect,
    risk_coefficients,
    risk_models,
)
from qa.stores.risk_store import expected_counts as stored_expected_counts
from qa.stores.warehouse import Warehouse

MONTHS_AT_ONCE = 12


@dataclass(frozen=True)
class Fair:
    """RISK_MODELS, EXPECTED_COUNTS, and the frames of a snapshot that tell of the comparison."""

    models: pl.DataFrame
    expected: pl.DataFrame
    frames: dict[str, pl.DataFrame]
    n_new_models: int


def find_expected(
    warehouse: Warehouse,
    assessments: pl.DataFrame,
    case_mix: pl.DataFrame,
    network: Network,
    definitions: Definitions,
    *,
    at: datetime,
    by: str,
) -> Fair:
    """Freeze models that are due and work out what is missing of the expected events.

    A warehouse opened as it was known at a moment is only read: all is worked out anew.

    Args:
        assessments: ASSESSMENTS of every exam.
        case_mix: CASE_MIX_COUNTS of every month.
    """
    existing, coefficients = risk_models(warehouse), risk_coefficients(warehouse)
    new, new_coefficients = freeze_models(
        case_mix,
        existing=existing,
        adjustments=definitions.adjustments.values(),
        measures=definitions.measures,
        settings=network.settings,
        set_at=at,
        set_by=by,
    )
    models = pl.concat([existing, new]).sort("model_id")
    coefficients = pl.concat([coefficients, new_coefficients]).sort(
        "model_id", "covariate", "level"
    )
    is_past = warehouse.as_known_at is not None
    if new.height and not is_past:
        append_models(warehouse, new, new_coefficients)
    expected = [EXPECTED_COUNTS.empty()]
    for months, model_ids in _steps(warehouse, models, case_mix, is_past=is_past):
        found = expected_counts(
            exams_of_months(warehouse, months, NEEDED),
            assessments,
            models=models.filter(pl.col("model_id").is_in(model_ids)),
            coefficients=coefficients,
            measures=definitions.measures,
        )
        expected.append(found)
        if not is_past:
            append_expected(warehouse, found, model_ids=model_ids, months=months)
    all_expected = pl.concat(expected) if is_past else stored_expected_counts(warehouse)
    quality, calibration = risk_quality(
        case_mix, models=models, coefficients=coefficients, measures=definitions.measures
    )
    frames = {
        "case_mix_counts": case_mix,
        "risk_models": models,
        "risk_coefficients": coefficients,
        "expected_counts": all_expected.sort(EXPECTED_COUNTS.key),
        "risk_quality": quality,
        "risk_calibration": calibration,
    }
    return Fair(models, frames["expected_counts"], frames, new.height)


def _steps(
    warehouse: Warehouse, models: pl.DataFrame, case_mix: pl.DataFrame, *, is_past: bool
) -> Iterator[tuple[list[date], list[str]]]:
    """Months to work out together, and for which models."""
    if is_past:
        every = tuple(models["model_id"].to_list())
        months = case_mix["month"].unique().sort().to_list()
        wanted = dict.fromkeys(months, every) if every else {}
    else:
        wanted = months_to_expect(warehouse)
    for model_ids in dict.fromkeys(wanted.values()):
        same = [month for month, ids in wanted.items() if ids == model_ids]
        for start in range(0, len(same), MONTHS_AT_ONCE):
            yield same[start : start + MONTHS_AT_ONCE], list(model_ids)
