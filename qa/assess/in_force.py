"""Which criteria set is in force for each exam: its rule as columns beside the exam."""

from collections.abc import Sequence
from datetime import date
from typing import Any

import polars as pl

from qa.model.definitions import CriteriaSet, InForce
from qa.model.errors import NetworkFolderError
from qa.model.words import Technique

_RULE_TYPES: dict[str, Any] = {
    "criteria_id": pl.String,
    "technique": pl.String,
    "rule_min_valid": pl.Int32,
    "rule_max_ratio_kpa_share": pl.Float64,
    "rule_max_ratio_m_s_share": pl.Float64,
    "rule_is_limit_allowed": pl.Boolean,
    "rule_ratio_from_kpa": pl.Float64,
    "rule_min_success_share": pl.Float64,
    "rule_very_reliable_share": pl.Float64,
    "rule_max_iqr_db_m": pl.Float64,
    "rule_is_iqr_limit_allowed": pl.Boolean,
    "rule_min_fasting_hours": pl.Float64,
    "rule_min_rest_minutes": pl.Float64,
    "rule_is_position_asked": pl.Boolean,
    "rule_is_preparation_part": pl.Boolean,
}


def with_rules(
    exams: pl.DataFrame, *, criteria: Sequence[tuple[InForce, CriteriaSet]]
) -> pl.DataFrame:
    """Adds criteria_id and one rule_* column for each figure of the rule in force on exam_on.

    Returns: the same rows in the same order; rule columns are null where the set in force has
        no rule for the technique.
    Raises: NetworkFolderError when an exam is older than the first criteria set.
    """
    ordered = sorted(criteria, key=lambda pair: pair[0].from_day)
    _refuse_exams_without_set(exams, ordered)
    criteria_id = pl.lit(None, dtype=pl.String)
    for period, one in ordered:
        criteria_id = (
            pl.when(pl.col("exam_on") >= period.from_day)
            .then(pl.lit(one.id))
            .otherwise(criteria_id)
        )
    sets = {one.id: one for _, one in ordered}
    rules = pl.DataFrame(
        [_rule_row(one, technique) for one in sets.values() for technique in Technique],
        schema=_RULE_TYPES,
        orient="row",
    )
    return exams.with_columns(criteria_id=criteria_id).join(
        rules, on=["criteria_id", "technique"], how="left", maintain_order="left"
    )


def _rule_row(one: CriteriaSet, technique: str) -> tuple[Any, ...]:
    stiffness = one.stiffness_rule(technique)
    attenuation = one.attenuation_rule(technique)
    asked = one.preparation
    names = [
        "min_valid",
        "max_ratio_kpa_share",
        "max_ratio_m_s_share",
        "is_limit_allowed",
        "ratio_from_kpa",
        "min_success_share",
        "very_reliable_share",
    ]
    return (
        one.id,
        str(technique),
        *(getattr(stiffness, name) if stiffness else None for name in names),
        attenuation.max_iqr_db_m if attenuation else None,
        attenuation.is_limit_allowed if attenuation else None,
        asked.min_fasting_hours,
        asked.min_rest_minutes,
        asked.is_position_asked,
        asked.is_part_of_verdict,
    )


def _refuse_exams_without_set(
    exams: pl.DataFrame, ordered: Sequence[tuple[InForce, CriteriaSet]]
) -> None:
    if exams.is_empty():
        return
    oldest = exams["exam_on"].min()
    assert isinstance(oldest, date)
    if not ordered or oldest < ordered[0][0].from_day:
        first = ordered[0][0].from_day if ordered else "none"
        raise NetworkFolderError(
            f"exams go back to {oldest}, but the first criteria set is in force from {first}",
            where="network.toml, [[criteria]]",
            expected="a criteria set in force on the day of each exam",
            todo="Add the set that judged then, or let the first one begin earlier",
            code="NET-011",
        )
