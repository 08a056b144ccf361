"""Exams as the integrity checks read them: the columns they need, in the device's own steps."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from qa.model.definitions import CriteriaSet
from qa.model.words import Outcome, StiffnessUnit

STEPS = (1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01)
"""Steps a device may show values in, coarse to fine (common practice, no source)."""
_FITTING_SHARE = 0.99
_LEAST_VALUES = 20
JUMP_DAYS = 180
QUANTITIES = ("stiffness_value", "stiffness_iqr", "attenuation_value", "attenuation_iqr")
_COLUMNS = (
    *("exam_key", "patient_key", "site_id", "operator_id", "device_id", "technique", "probe"),
    *("n_attempted", "n_valid", "stiffness_value", "stiffness_iqr", "stiffness_unit"),
    *("attenuation_value", "attenuation_iqr", "attenuation_unit", "duration_s", "measurements"),
    *("is_stiffness_censored", "is_attenuation_censored", "is_date_nominal", "exam_at", "exam_on"),
    *("outcome", "ratio_share", "repeat_kind", "criteria_id", "stiffness_kpa", "jump_log_ratio"),
)


@dataclass(frozen=True)
class Unit:
    """One unit's exams in the period, by time, and its colleagues' at the same site.

    Args:
        exams: those of prepare_exams, of this unit.
        one_at_a_time: the column whose holder can examine one patient at a time.
        site_minutes: for an operator, counts of the last digit of the minute at her sites, herself
            included; else empty.
    """

    unit_id: str
    exams: pl.DataFrame
    one_at_a_time: str
    site_minutes: np.ndarray


def prepare_exams(exams: pl.DataFrame, *, criteria: Mapping[str, CriteriaSet]) -> pl.DataFrame:
    """Performed exams with limits of their criteria set and the steps of their device.

    Returns: the columns that checks need, `limit_share` (of IQR/median), `min_valid`, and a
        `step_…` for each quantity (null where too few values show it); sorted by exam_at.
    """
    done = exams.filter(pl.col("performed") == "performed").select(_COLUMNS)
    limits = _limits(criteria)
    done = done.join(limits, on=["criteria_id", "technique"], how="left").with_columns(
        limit_share=pl.when(pl.col("stiffness_unit") == StiffnessUnit.M_S)
        .then("limit_m_s")
        .otherwise("limit_kpa")
    )
    keys = ["device_id", "technique", "stiffness_unit", "attenuation_unit"]
    steps = done.group_by(keys).agg(_step(name) for name in QUANTITIES)
    return done.join(steps, on=keys, how="left", nulls_equal=True).sort("exam_at", "exam_key")


def _limits(criteria: Mapping[str, CriteriaSet]) -> pl.DataFrame:
    rows = [
        (
            *(one.id, technique, rule.max_ratio_kpa_share, rule.max_ratio_m_s_share),
            *(rule.min_valid, rule.ratio_from_kpa or 0.0, rule.is_limit_allowed),
        )
        for one in criteria.values()
        for rule in one.stiffness
        for technique in rule.techniques
    ]
    schema = {
        "criteria_id": pl.String,
        "technique": pl.String,
        "limit_kpa": pl.Float64,
        "limit_m_s": pl.Float64,
        "min_valid": pl.Int64,
        "limit_from_kpa": pl.Float64,
        "is_limit_allowed": pl.Boolean,
    }
    return pl.DataFrame(rows, schema=schema, orient="row")


def _step(name: str) -> pl.Expr:
    """The coarsest step of which nearly all values of a device are multiples."""
    value = pl.col(name).drop_nulls()
    found: pl.Expr = pl.lit(None, dtype=pl.Float64)
    for step in reversed(STEPS):
        parts = value / step
        fits = ((parts - parts.round()).abs() < 1e-4).mean() >= _FITTING_SHARE
        found = pl.when(fits & (value.len() >= _LEAST_VALUES)).then(pl.lit(step)).otherwise(found)
    return found.alias(f"step_{name}")


def with_jumps(exams: pl.DataFrame) -> pl.DataFrame:
    """Add the log ratio to the patient's reliable exam before, same technique, within 180 days."""
    can = (pl.col("outcome") == Outcome.RELIABLE) & (pl.col("stiffness_kpa") > 0)
    pair = ["patient_key", "technique"]
    before_kpa = pl.col("stiffness_kpa").shift().over(pair)
    days = (pl.col("exam_on") - pl.col("exam_on").shift().over(pair)).dt.total_days()
    jumps = exams.filter(can).select(
        "exam_key",
        jump_log_ratio=pl.when(days.is_between(0, JUMP_DAYS)).then(
            (pl.col("stiffness_kpa") / before_kpa).log()
        ),
    )
    return exams.join(jumps, on="exam_key", how="left")


def units_of(exams: pl.DataFrame, kind: str) -> list[Unit]:
    """Units of a kind that have exams, by id."""
    own = f"{kind}_id"
    alone = {"operator": "operator_id"}.get(kind, "device_id")
    minutes = _minutes_by_site(exams) if kind == "operator" else {}
    units = []
    for (unit_id,), part in sorted(exams.partition_by(own, as_dict=True).items()):
        shared = sum(
            (minutes[site] for site in part["site_id"].unique() if site in minutes), np.zeros(10)
        )
        units.append(Unit(str(unit_id), part, alone, shared))
    return units


def _minutes_by_site(exams: pl.DataFrame) -> dict[str, np.ndarray]:
    dated = exams.filter(~pl.col("is_date_nominal"))
    return {
        str(site): minute_digits(part)
        for (site,), part in dated.partition_by("site_id", as_dict=True).items()
    }


def minute_digits(exams: pl.DataFrame) -> np.ndarray:
    """How often the minute of the start ends in 0 to 9."""
    return np.bincount(exams["exam_at"].dt.minute().to_numpy() % 10, minlength=10).astype(float)


def step_codes(exams: pl.DataFrame, name: str) -> np.ndarray:
    """Values as whole numbers of their device's steps; values whose step is unknown left out."""
    known = exams.filter(pl.col(name).is_not_null() & pl.col(f"step_{name}").is_not_null())
    return (known[name] / known[f"step_{name}"]).round().cast(pl.Int64).to_numpy()
