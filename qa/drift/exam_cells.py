"""Exams of a site in two periods → cells by operator, device, probe, technique and patients.

What was to be expected of a patient comes from the frozen model, without its probe and technique:
those are factors of their own here.
"""

import numpy as np
import polars as pl
from scipy.special import logit

from qa.case_mix.bands import covariate_levels
from qa.case_mix.cells import COVARIATE_COLUMNS
from qa.case_mix.expected import expected_shares
from qa.counts import count_groups
from qa.model.definitions import Measure

FACTORS = ("operator_id", "device_id", "probe", "technique")
CLASSES = 8
"""Classes of patients by what was to be expected; finer ones change the parts by less than the
rounding of a percent."""
NOT_PATIENTS = ("probe", "technique")


def exam_cells(
    exams: pl.DataFrame, *, measure: Measure, coefficients: pl.DataFrame, by: tuple[str, ...] = ()
) -> pl.DataFrame:
    """Count exams by FACTORS, `by`, and what was to be expected of the patient.

    Args:
        exams: published exams of one site (EXAMS joined with ASSESSMENTS).
        measure: its numerator and denominator are counted; exams outside it are left out.
        coefficients: RISK_COEFFICIENTS of one model; empty: patients are all taken as alike.
        by: further columns, for example month.
    Returns: FACTORS, by, log_odds (patient class, mean of its exams; 0 without a model), n,
        n_events; in no particular order.
    Weak when: a model's covariates are not sent: such patients count as its reference.
    """
    columns = list(dict.fromkeys([*measure.numerator, *measure.denominator]))
    kinds = exams.with_columns(**covariate_levels())
    group = list(dict.fromkeys([*FACTORS, *by, *COVARIATE_COLUMNS]))
    counts = count_groups(kinds, by=group, columns=columns).select(
        *group,
        n=pl.sum_horizontal(measure.denominator),
        n_events=pl.sum_horizontal(measure.numerator),
    )
    counts = counts.filter(pl.col("n") > 0).with_columns(pl.col(FACTORS).fill_null("unknown"))
    if "n_large_patient_probe" in measure.numerator:
        # Which probe was taken is what is counted here; it cannot be its own reason.
        counts = counts.with_columns(probe=pl.lit("any"))
    known = coefficients.filter(~pl.col("covariate").is_in(NOT_PATIENTS))
    odds = np.zeros(counts.height) if known.is_empty() else logit(expected_shares(counts, known))
    return _in_classes(counts.with_columns(log_odds=pl.Series(odds)), [*FACTORS, *by])


def _in_classes(counts: pl.DataFrame, group: list[str]) -> pl.DataFrame:
    """Patients in classes of about as many exams each, each with the mean of its log odds."""
    ordered = counts.sort("log_odds", *counts.columns)
    place = (pl.col("n").cum_sum() - pl.col("n") / 2) / pl.col("n").sum()
    classes = ordered.with_columns(patients=(place * CLASSES).floor().cast(pl.Int32))
    means = classes.group_by("patients").agg(
        mean=(pl.col("log_odds") * pl.col("n")).sum() / pl.col("n").sum()
    )
    sums = classes.group_by([*group, "patients"]).agg(pl.col("n", "n_events").sum())
    return (
        sums.join(means, on="patients")
        .rename({"mean": "log_odds"})
        .sort([*group, "patients"])
        .drop("patients")
    )
