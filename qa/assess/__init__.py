"""Exams → outcomes: each exam is judged by the criteria set in force on its day.

It judges how an exam was done, never what a patient has. "Cannot tell" is its own answer.
"""

from collections.abc import Sequence
from datetime import date

import polars as pl

from qa.assess.bands import with_bands
from qa.assess.in_force import with_rules
from qa.assess.outcomes import with_attenuation_outcome, with_figures, with_outcome
from qa.assess.preparation import with_preparation, with_verdict
from qa.assess.repeats import with_repeats
from qa.model.definitions import CriteriaSet, GradeTable, InForce, Settings
from qa.model.schemas import ASSESSMENTS

NEEDED = [
    "exam_key",
    "version_no",
    "patient_key",
    "device_id",
    "technique",
    "performed",
    "order_type",
    "n_attempted",
    "n_valid",
    "stiffness_value",
    "stiffness_iqr",
    "stiffness_unit",
    "stiffness_kpa",
    "stated_ratio_share",
    "attenuation_value",
    "attenuation_db_m",
    "attenuation_iqr_db_m",
    "fasting_hours",
    "fasting_stated",
    "rest_minutes",
    "position_stated",
    "is_date_nominal",
    "exam_at",
    "exam_on",
]
"""Columns of EXAMS that are read; more of them change nothing."""


def assess_exams(
    exams: pl.DataFrame,
    *,
    criteria: Sequence[tuple[InForce, CriteriaSet]],
    grade_tables: Sequence[tuple[InForce, GradeTable]],
    settings: Settings,
    others: pl.DataFrame | None = None,
    horizon_on: date | None = None,
) -> pl.DataFrame:
    """Judge exams.

    Args:
        exams: EXAMS in their current versions; the caller leaves retracted ones out.
        criteria: criteria sets with the first day on which each judges.
        grade_tables: grade tables with their first day; bands for comparing sites only.
        settings: the windows of repeats.
        others: NEEDED of EXAMS of the same patients, used only to find repeats: at least
            the exam before each of `exams`, the row before it, and the exam after it within the
            window. Rows that are also in `exams` are ignored.
        horizon_on: last day that is known; whether a poor exam was repeated is told only when its
            window ends by then. None: never told.
    Returns: ASSESSMENTS, one row per row of `exams` in the same order.
    Raises: NetworkFolderError when an exam is older than the first criteria set.
    Method:
        failed: performed without a valid measurement (n_valid 0, or neither n_valid nor a
        median). incomplete: 1 or more valid, but fewer than the set asks for. unreliable:
        enough valid, but IQR/median or success rate breaks the rule. not judged: the verdict
        hangs on a figure that was not sent, or the set has no rule for the technique.
        IQR/median is judged unrounded and in the unit measured; the stated ratio only where
        IQR or median is missing. A value within 1e-9 of a limit stands on the limit.
    Weak when: patients change identifiers (repeats are missed); dates are nominal (no repeat
        is counted then).
    """
    frame = exams.select(NEEDED).with_columns(is_asked=pl.lit(True))
    if others is not None:
        around = others.join(exams, on="exam_key", how="anti").select(NEEDED)
        frame = pl.concat([frame, around.with_columns(is_asked=pl.lit(False))])
    frame = with_rules(frame, criteria=criteria)
    frame = with_figures(frame)
    frame = with_outcome(frame)
    frame = with_attenuation_outcome(frame)
    frame = with_preparation(frame)
    frame = with_verdict(frame)
    frame = with_repeats(frame, settings=settings, horizon_on=horizon_on)
    frame = with_bands(frame.filter("is_asked"), grade_tables=grade_tables)
    return ASSESSMENTS.conform(frame)
