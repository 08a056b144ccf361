"""Figures of an exam and the rule beside them → outcome of stiffness and of attenuation."""

import polars as pl

from qa.assess.limits import TOLERANCE, is_beyond, reaches
from qa.model.words import (
    AttenuationOutcome,
    Outcome,
    Performed,
    ReliabilityClass,
    StiffnessUnit,
    Technique,
)


def with_figures(frame: pl.DataFrame) -> pl.DataFrame:
    """Adds what the rules read: ratio, success rate, valid count."""
    own_ratio = pl.when(pl.col("stiffness_value") > 0).then(
        pl.col("stiffness_iqr") / pl.col("stiffness_value")
    )
    success = pl.when(pl.col("n_attempted") > 0).then(pl.col("n_valid") / pl.col("n_attempted"))
    at_least_one = pl.when(
        pl.col("n_valid").is_null()
        & pl.col("stiffness_value").is_not_null()
        & (pl.col("rule_min_valid") <= 1)
    ).then(pl.lit(1, dtype=pl.Int32))
    return frame.with_columns(
        is_performed=pl.col("performed") == Performed.PERFORMED,
        ratio_share=pl.coalesce(own_ratio, "stated_ratio_share"),
        success_share=success,
        valid=pl.coalesce("n_valid", at_least_one),
    ).with_columns(
        ratio_share=pl.when("is_performed").then("ratio_share"),
        success_share=pl.when("is_performed").then("success_share"),
    )


def _spread_is_too_wide() -> pl.Expr:
    """True, False, or null where the ratio (or a median that it hangs on) was not sent."""
    is_kpa = (pl.col("stiffness_unit") == StiffnessUnit.KPA) | (
        pl.col("stiffness_unit").is_null() & (pl.col("technique") == Technique.TE)
    )
    limit = (
        pl.when(pl.col("stiffness_unit") == StiffnessUnit.M_S)
        .then("rule_max_ratio_m_s_share")
        .when(is_kpa)
        .then("rule_max_ratio_kpa_share")
    )
    is_wide = is_beyond(
        pl.col("ratio_share"), limit, is_limit_allowed=pl.col("rule_is_limit_allowed")
    )
    matters = reaches(pl.col("stiffness_kpa"), pl.col("rule_ratio_from_kpa"))
    return (
        pl.when(pl.col("rule_ratio_from_kpa").is_null() | is_wide.is_null())
        .then(is_wide)
        .otherwise(is_wide & matters)
    )


def with_outcome(frame: pl.DataFrame) -> pl.DataFrame:
    """Adds outcome, the finer class and the single faults of the stiffness."""
    has_none = (pl.col("valid") == 0) | (
        pl.col("valid").is_null() & pl.col("stiffness_value").is_null()
    )
    faults = frame.with_columns(
        is_ruled=pl.col("is_performed") & pl.col("rule_min_valid").is_not_null(),
        has_none=has_none.fill_null(False),
        has_few=pl.col("valid").is_between(1, pl.col("rule_min_valid") - 1),
        is_wide=_spread_is_too_wide(),
        is_low_success=pl.when(pl.col("rule_min_success_share").is_null())
        .then(False)
        .otherwise(pl.col("success_share") < pl.col("rule_min_success_share") - TOLERANCE),
    )
    outcome = (
        pl.when(~pl.col("is_performed"))
        .then(pl.lit(Outcome.NOT_PERFORMED.value))
        .when(~pl.col("is_ruled"))
        .then(pl.lit(Outcome.NOT_JUDGED.value))
        .when("has_none")
        .then(pl.lit(Outcome.FAILED.value))
        .when(pl.col("valid").is_null())
        .then(pl.lit(Outcome.NOT_JUDGED.value))
        .when("has_few")
        .then(pl.lit(Outcome.INCOMPLETE.value))
        .when(pl.col("is_wide").fill_null(False) | pl.col("is_low_success").fill_null(False))
        .then(pl.lit(Outcome.UNRELIABLE.value))
        .when(pl.col("is_wide").is_null() | pl.col("is_low_success").is_null())
        .then(pl.lit(Outcome.NOT_JUDGED.value))
        .otherwise(pl.lit(Outcome.RELIABLE.value))
    )
    return faults.with_columns(outcome=outcome).with_columns(reliability_class=_finer_class())


def _finer_class() -> pl.Expr:
    has_class = pl.col("rule_very_reliable_share").is_not_null()
    is_narrow = pl.col("ratio_share") <= pl.col("rule_very_reliable_share") + TOLERANCE
    return (
        pl.when(has_class & (pl.col("outcome") == Outcome.UNRELIABLE))
        .then(pl.lit(ReliabilityClass.POOR.value))
        .when(has_class & (pl.col("outcome") == Outcome.RELIABLE) & is_narrow)
        .then(pl.lit(ReliabilityClass.VERY.value))
        .when(has_class & (pl.col("outcome") == Outcome.RELIABLE))
        .then(pl.lit(ReliabilityClass.RELIABLE.value))
    )


def with_attenuation_outcome(frame: pl.DataFrame) -> pl.DataFrame:
    is_wide = is_beyond(
        pl.col("attenuation_iqr_db_m"),
        pl.col("rule_max_iqr_db_m"),
        is_limit_allowed=pl.col("rule_is_iqr_limit_allowed"),
    )
    outcome = (
        pl.when(~pl.col("is_performed") | pl.col("attenuation_value").is_null())
        .then(pl.lit(AttenuationOutcome.NOT_MEASURED.value))
        .when(is_wide.is_null())
        .then(pl.lit(AttenuationOutcome.NOT_JUDGED.value))
        .when(is_wide)
        .then(pl.lit(AttenuationOutcome.UNRELIABLE.value))
        .otherwise(pl.lit(AttenuationOutcome.RELIABLE.value))
    )
    return frame.with_columns(attenuation_outcome=outcome)
