"""Exams → counts by kind of patient and exam: sufficient statistics of every model."""

from collections.abc import Sequence

import polars as pl

from qa.case_mix.bands import covariate_levels
from qa.counts import count_groups
from qa.model.case_mix_schemas import CASE_MIX_COLUMNS, CASE_MIX_COUNTS, COVARIATES

COVARIATE_COLUMNS: tuple[str, ...] = tuple(column.name for column in COVARIATES)

NEEDED: tuple[str, ...] = (
    "exam_key",
    "version_no",
    "site_id",
    "operator_id",
    "month",
    "technique",
    "probe",
    "performed",
    "n_valid",
    "n_attempted",
    "acquisition_mode",
    "bmi_kg_m2",
    "age_years",
    "sex",
    "indication",
)
"""Columns of EXAMS that are read here."""


def count_case_mix(exams: pl.DataFrame, assessments: pl.DataFrame) -> pl.DataFrame:
    """Count exams of the whole network by month, criteria set and kind of patient and exam.

    Args:
        exams: EXAMS in the versions that were judged; other columns than NEEDED may be missing.
        assessments: ASSESSMENTS of the same exams.
    Returns: CASE_MIX_COUNTS, sorted by its key; they add up over months and parts exactly.
    """
    cells = count_kinds(exams, assessments, by=("month", "criteria_id"))
    return CASE_MIX_COUNTS.conform(cells.sort(CASE_MIX_COUNTS.key))


def count_kinds(
    exams: pl.DataFrame, assessments: pl.DataFrame, *, by: Sequence[str]
) -> pl.DataFrame:
    """As count_case_mix, for each group of `by`, which names columns of EXAMS or ASSESSMENTS."""
    judged = exams.select(NEEDED).join(assessments, on=["exam_key", "version_no"], how="inner")
    # Probe and technique are covariates as they stand; the others are made.
    kinds = judged.with_columns(**covariate_levels())
    return count_groups(kinds, by=(*by, *COVARIATE_COLUMNS), columns=CASE_MIX_COLUMNS)
