"""Checks of the figures of an exam: whether they are possible, agree, and are of one unit."""

import polars as pl

from qa.intake.bounds import (
    ATTENUATION_DB_CM_MHZ,
    ATTENUATION_DB_M,
    MAX_IQR,
    OTHER_BOUNDS,
    RATIO_TOLERANCE_SHARE,
    SPEED_M_S,
    STIFFNESS_KPA,
)
from qa.intake.cell_units import QUANTITIES
from qa.intake.check import Check, flag, has, quarantine, where
from qa.intake.limit_signs import SIGNED
from qa.intake.readings import DIFFERING
from qa.model.words import AttenuationUnit, Performed, Severity, StiffnessUnit


def _bound(name: str, low: float, high: float, *, given: pl.Expr | None = None) -> pl.Expr:
    within = pl.col(name).is_between(low, high)
    return within if given is None else where(given, within)


def quantity_checks() -> list[Check]:
    is_kpa = pl.col("stiffness_unit") == StiffnessUnit.KPA.value
    is_speed = pl.col("stiffness_unit") == StiffnessUnit.M_S.value
    low_kpa, high_kpa = STIFFNESS_KPA
    low_m_s, high_m_s = SPEED_M_S
    low_db, high_db = ATTENUATION_DB_M
    low_bare, high_bare = ATTENUATION_DB_CM_MHZ
    is_bare = pl.col("attenuation_unit") == AttenuationUnit.DB_CM_MHZ.value
    checks = [
        quarantine(
            "CHK-017", "More valid measurements than attempted ones.", ("n_valid", "n_attempted"),
            pl.col("n_valid") <= pl.col("n_attempted"), "at most as many valid as attempted",
        ),
        quarantine(
            "CHK-019", "The stiffness is impossible.", ("stiffness",),
            _bound("stiffness_value", low_kpa, high_kpa, given=is_kpa),
            f"{low_kpa:g} to {high_kpa:g} kPa",
        ),
        quarantine(
            "CHK-020", "The shear-wave speed is impossible.", ("stiffness",),
            _bound("stiffness_value", low_m_s, high_m_s, given=is_speed),
            f"{low_m_s:g} to {high_m_s:g} m/s",
        ),
        quarantine(
            "CHK-021", "The attenuation is impossible.", ("attenuation",),
            pl.coalesce(
                _bound("attenuation_db_m", low_db, high_db),
                _bound("attenuation_value", low_bare, high_bare, given=is_bare),
            ),
            f"{low_db:g} to {high_db:g} dB/m, or {low_bare:g} to {high_bare:g} dB/cm/MHz",
        ),
    ]  # fmt: skip
    checks += [
        quarantine(
            "CHK-041", "The value carries a sign, but is not known to be a limit of the device.",
            (name,), pl.col(f"{name}_is_sign_right"),
            "a plain number; > or < only at the limit that [[devices]] in network.toml or [limits] "
            "in the profile states",
        )
        for name in SIGNED
    ]  # fmt: skip
    for name, highest in MAX_IQR.items():
        checks += [
            quarantine("CHK-022", "The IQR is negative.", (name,), pl.col(name) >= 0, "0 or more"),
            quarantine(
                "CHK-040", "The IQR is impossible.", (name,), pl.col(name) <= highest,
                f"at most {highest:g}",
            ),
        ]  # fmt: skip
    for name, (low, high) in OTHER_BOUNDS.items():
        checks.append(
            quarantine(
                "CHK-018", "The value is impossible.", (name,),
                _bound(f"{name}_number", low, high), f"{low:g} to {high:g}",
            )
        )  # fmt: skip
    return checks


def agreement_checks() -> list[Check]:
    """Whether the figures of one row agree with one another."""
    ratio = pl.col("stiffness_iqr") / pl.col("stiffness_value")
    is_apart = (ratio - pl.col("stated_ratio_share")).abs()
    has_figures = (pl.col("n_valid").fill_null(0) > 0) | has("stiffness_value")
    frequency_is_missing = (pl.col("attenuation_unit") == AttenuationUnit.DB_CM_MHZ.value) & pl.col(
        "attenuation_db_m"
    ).is_null()
    return [
        flag(
            "CHK-023", "IQR/median as stated differs by more than 1 point from IQR over median.",
            ("stated_ratio_pct", "stiffness_iqr", "stiffness"),
            is_apart <= RATIO_TOLERANCE_SHARE, "within 1 point",
        ),
        quarantine(
            "CHK-024", "The exam is said not to have been started, but has measurements.",
            ("performed", "n_valid"),
            (pl.col("performed") == Performed.PERFORMED.value) | ~has_figures,
            "no measurements, or an exam that was performed",
        ),
        flag(
            "CHK-025", "No valid measurement, but a stiffness.", ("n_valid", "stiffness"),
            where(pl.col("n_valid") == 0, pl.col("stiffness_value").is_null()),
            "no stiffness, or at least one valid measurement",
        ),
        flag(
            "CHK-026", "Attenuation in dB/cm/MHz, but no frequency in the profile.",
            ("attenuation",), ~frequency_is_missing, "frequency_mhz in the profile",
        ),
    ]  # fmt: skip


def unit_checks() -> list[Check]:
    """Whether a column holds one unit: a second one is told, never guessed."""
    checks = [
        Check(
            "CHK-035", "The cell names another unit than its column has.", Severity.QUARANTINE,
            (name,), ~pl.col(f"{name}_other_unit"), "the one unit {unit}",
            found=pl.format("a value in {}", pl.col(f"{name}_named_unit")),
        )
        for name in QUANTITIES
    ]  # fmt: skip
    checks += [
        quarantine(
            "CHK-039", "The unit of the value is missing.", (name,),
            where(has(value) & ~has(f"{name}_unit_text"), has(f"{name}_unit")),
            "a unit in every row that has a value",
        )
        for name, value in (("stiffness", "stiffness_value"), ("attenuation", "attenuation_value"))
    ]  # fmt: skip
    checks.append(
        quarantine(
            "CHK-036", "The column seems to hold two units, and this value could be of either.",
            ("stiffness",), where(has("stiffness_value"), ~pl.col("is_unit_doubtful")),
            "one unit in the whole column, or a column that names the unit of each row",
        )
    )  # fmt: skip
    return checks


def reading_checks() -> list[Check]:
    """Whether single readings can be used, and agree with what is stated."""
    is_kpa = pl.col("stiffness_unit") == StiffnessUnit.KPA.value
    lowest, highest = (
        pl.when(is_kpa).then(of_kpa).otherwise(of_speed)
        for of_kpa, of_speed in zip(STIFFNESS_KPA, SPEED_M_S, strict=True)
    )
    is_possible = (pl.col("lowest_reading") >= lowest) & (pl.col("highest_reading") <= highest)
    low_kpa, high_kpa = STIFFNESS_KPA
    low_m_s, high_m_s = SPEED_M_S
    return [
        flag(
            "CHK-030", "The median as stated is not that of the single readings.",
            ("stiffness", "measurement"), pl.col("is_median_near"), "the same but for rounding",
        ),
        flag(
            "CHK-031", "The IQR as stated is not that of the single readings.",
            ("stiffness_iqr", "measurement"), pl.col("is_iqr_near"),
            "the same but for rounding, by the quartile type of the profile",
        ),
        flag(
            "CHK-032", "The number of valid measurements is not that of the single readings.",
            ("n_valid", "measurement"), pl.col("is_count_of_readings"), "one reading for each",
        ),
        Check(
            "CHK-033", "The rows of one exam say different things in the same column.",
            Severity.QUARANTINE, ("exam_id",), pl.col(DIFFERING).is_null(),
            "the same in all rows of an exam, or empty; see first_of and mean_of in the profile",
            found=pl.format("two values or more in: {}", pl.col(DIFFERING)),
        ),
        Check(
            "CHK-034", "A single reading is impossible.", Severity.QUARANTINE, ("measurement",),
            is_possible, f"{low_kpa:g} to {high_kpa:g} kPa, or {low_m_s:g} to {high_m_s:g} m/s",
            found=pl.format("{} to {}", pl.col("lowest_reading"), pl.col("highest_reading")),
        ),
    ]  # fmt: skip
