"""The checks of a row: one registry that intake, screens and tests read.

An expression is true when the row is fine, false when it fails, null when it cannot be told
(for example because a figure is missing). "Cannot tell" is its own result: it neither passes nor
holds a row back.
"""

from dataclasses import dataclass

import polars as pl

from qa.intake.bounds import (
    ATTENUATION_DB_M,
    FIRST_DAY,
    OTHER_BOUNDS,
    RATIO_TOLERANCE_SHARE,
    SPEED_M_S,
    STIFFNESS_KPA,
)
from qa.intake.cell_units import QUANTITIES
from qa.intake.readings import DIFFERING
from qa.intake.targets import TARGETS, Kind, names_of_kind
from qa.model.words import AttenuationUnit, Performed, Severity, StiffnessUnit

INTAKE_VERSION = 2
"""Raise it when the same file would come out differently; every file is then read again."""


@dataclass(frozen=True)
class Check:
    """One thing that can be wrong with a row.

    Args:
        code: stable; several columns may share one.
        sentence: what is wrong, for the site.
        severity: quarantine keeps the row out; flag lets it in with the code.
        columns: targets concerned.
        is_fine: true fine, false fails, null cannot tell.
        expected: what would have been right; {decimal}, {date_format} and {codes} are filled from
            the profile.
        found: what stands in the file, where that is no cell of `columns`; never an identifier.
    """

    code: str
    sentence: str
    severity: Severity
    columns: tuple[str, ...]
    is_fine: pl.Expr
    expected: str
    found: pl.Expr | None = None


def _quarantine(
    code: str, sentence: str, columns: tuple[str, ...], is_fine: pl.Expr, expected: str
) -> Check:
    return Check(code, sentence, Severity.QUARANTINE, columns, is_fine, expected)


def _flag(
    code: str, sentence: str, columns: tuple[str, ...], is_fine: pl.Expr, expected: str
) -> Check:
    return Check(code, sentence, Severity.FLAG, columns, is_fine, expected)


def _where(is_known: pl.Expr, is_fine: pl.Expr) -> pl.Expr:
    """is_fine where it can be told, else null."""
    return pl.when(is_known).then(is_fine)


def _has(name: str) -> pl.Expr:
    return pl.col(name).is_not_null()


def _text_checks() -> list[Check]:
    """Whether each cell can be read at all."""
    checks = [
        _quarantine(
            "CHK-001", "A value that every exam needs is missing.", (target.name,),
            _has(f"{target.name}_text") | _has(f"{target.name}_word"), "a value",
        )
        for target in TARGETS
        if target.is_needed
    ]  # fmt: skip
    checks.append(
        _quarantine(
            "CHK-001", "A value that every exam needs is missing.", ("site",),
            _has("site_of_file") | _has("site_text"), "a value",
        )
    )  # fmt: skip
    for target in TARGETS:
        if target.kind == Kind.IDENTIFIER:
            continue
        result = "value" if target.kind == Kind.WORD else "word"
        checks.append(
            _quarantine(
                "CHK-005", "The profile does not know this code.", (target.name,),
                _where(_has(f"{target.name}_text"), _has(f"{target.name}_{result}")),
                "one of the codes {codes}",
            )
        )  # fmt: skip
    for name in names_of_kind(Kind.NUMBER, Kind.WHOLE):
        checks += _number_checks(name)
    return checks


def _number_checks(name: str) -> list[Check]:
    number, has_word = pl.col(f"{name}_number"), _has(f"{name}_word")
    has_other_sign = pl.col(f"{name}_other_sign")
    is_read = pl.col(f"{name}_is_read")
    checks = [
        _quarantine(
            "CHK-002", "This is no number.", (name,),
            _where(has_word & ~has_other_sign, is_read), "a number such as 12{decimal}5",
        ),
        _quarantine(
            "CHK-003", "The number is written with the other decimal sign.", (name,),
            _where(has_word, ~has_other_sign), "the decimal sign '{decimal}'",
        ),
    ]  # fmt: skip
    if name in names_of_kind(Kind.WHOLE):
        checks.append(
            _quarantine(
                "CHK-004", "This is no whole number.", (name,), number == number.round(),
                "a whole number",
            )
        )  # fmt: skip
    return checks


def _time_checks() -> list[Check]:
    is_read = pl.any_horizontal(_has("local_at"), _has("given_at"))
    is_unclear = pl.col("is_order_unclear")
    exam_at = ("exam_at",)
    return [
        _quarantine(
            "CHK-006", "The date or time cannot be read.", exam_at,
            _where(_has("exam_at_word") & ~is_unclear, is_read), "the form {date_format}",
        ),
        _quarantine(
            "CHK-007", "Day and month of the date could be the other way round.", exam_at,
            _where(_has("exam_at_word"), ~is_unclear),
            "one form of date in the whole file: {date_format}",
        ),
        _quarantine(
            "CHK-008", "This local time did not exist: the clock was put forward.", exam_at,
            _where(_has("local_at"), ~pl.col("is_time_missing")), "a time that the clock showed",
        ),
        _quarantine(
            "CHK-009", "This local time came twice: the clock was put back.", exam_at,
            _where(_has("local_at"), ~pl.col("is_time_doubled")),
            "a time with its offset from UTC, or one outside that hour",
        ),
        _quarantine(
            "CHK-010", "The exam lies in the future.", exam_at,
            pl.col("day_starts_at") <= pl.col("known_at"), "a time before the file was read",
        ),
        _quarantine(
            "CHK-011", "The exam lies too far back.", exam_at,
            pl.col("exam_on") >= FIRST_DAY, f"{FIRST_DAY:%Y} or later",
        ),
    ]  # fmt: skip


def _birth_checks() -> list[Check]:
    _, oldest = OTHER_BOUNDS["age_years"]
    return [
        _quarantine(
            "CHK-037", "The birth date cannot be read.", ("birth_date",),
            _where(_has("birth_date_word"), pl.col("is_birth_date_read")), "the form {date_format}",
        ),
        _quarantine(
            "CHK-038", "The birth date does not fit the date of the exam.", ("birth_date",),
            pl.col("age_from_birth").is_between(0, oldest),
            f"a day before the exam, at most {oldest:g} years",
        ),
    ]  # fmt: skip


def _register_checks() -> list[Check]:
    techniques = pl.col("device_techniques")
    return [
        _quarantine(
            "CHK-012", "The operator's code is not in network.toml for this site.", ("operator",),
            _where(_has("site_id") & _has("operator_word"), _has("operator_id")),
            "a code under [[operators]] of this site",
        ),
        _quarantine(
            "CHK-013", "The device's code is not in network.toml for this site.", ("device",),
            _where(_has("site_id") & _has("device_word"), _has("device_id")),
            "a code under [[devices]] of this site",
        ),
        _quarantine(
            "CHK-014", "The device does not do this technique.", ("technique", "device"),
            _where(techniques.list.len() > 0, techniques.list.contains(pl.col("technique"))),
            "a technique that network.toml lists for the device",
        ),
        _quarantine(
            "CHK-015", "The row names a site that is not in network.toml.", ("site",),
            _where(_has("site_word"), _has("site_id")), "an id under [[sites]]",
        ),
        _quarantine(
            "CHK-016", "The row names another site than the one that sent the file.", ("site",),
            pl.col("site_word") == pl.col("site_of_file"), "the site that sent the file",
        ),
    ]  # fmt: skip


def _bound(name: str, low: float, high: float, *, given: pl.Expr | None = None) -> pl.Expr:
    within = pl.col(name).is_between(low, high)
    return within if given is None else _where(given, within)


def _quantity_checks() -> list[Check]:
    is_kpa = pl.col("stiffness_unit") == StiffnessUnit.KPA.value
    is_speed = pl.col("stiffness_unit") == StiffnessUnit.M_S.value
    low_kpa, high_kpa = STIFFNESS_KPA
    low_m_s, high_m_s = SPEED_M_S
    low_db, high_db = ATTENUATION_DB_M
    checks = [
        _quarantine(
            "CHK-017", "More valid measurements than attempted ones.", ("n_valid", "n_attempted"),
            pl.col("n_valid") <= pl.col("n_attempted"), "at most as many valid as attempted",
        ),
        _quarantine(
            "CHK-019", "The stiffness is impossible.", ("stiffness",),
            _bound("stiffness_value", low_kpa, high_kpa, given=is_kpa),
            f"{low_kpa:g} to {high_kpa:g} kPa",
        ),
        _quarantine(
            "CHK-020", "The shear-wave speed is impossible.", ("stiffness",),
            _bound("stiffness_value", low_m_s, high_m_s, given=is_speed),
            f"{low_m_s:g} to {high_m_s:g} m/s",
        ),
        _quarantine(
            "CHK-021", "The attenuation is impossible.", ("attenuation",),
            _bound("attenuation_db_m", low_db, high_db), f"{low_db:g} to {high_db:g} dB/m",
        ),
    ]  # fmt: skip
    for name in ("stiffness_iqr", "attenuation_iqr"):
        checks.append(
            _quarantine("CHK-022", "The IQR is negative.", (name,), pl.col(name) >= 0, "0 or more")
        )
    for name, (low, high) in OTHER_BOUNDS.items():
        checks.append(
            _quarantine(
                "CHK-018", "The value is impossible.", (name,),
                _bound(f"{name}_number", low, high), f"{low:g} to {high:g}",
            )
        )  # fmt: skip
    return checks


def _agreement_checks() -> list[Check]:
    """Whether the figures of one row agree with one another."""
    ratio = pl.col("stiffness_iqr") / pl.col("stiffness_value")
    is_apart = (ratio - pl.col("stated_ratio_share")).abs()
    has_figures = (pl.col("n_valid").fill_null(0) > 0) | _has("stiffness_value")
    frequency_is_missing = (pl.col("attenuation_unit") == AttenuationUnit.DB_CM_MHZ.value) & pl.col(
        "attenuation_db_m"
    ).is_null()
    return [
        _flag(
            "CHK-023", "IQR/median as stated differs by more than 1 point from IQR over median.",
            ("stated_ratio_pct", "stiffness_iqr", "stiffness"),
            is_apart <= RATIO_TOLERANCE_SHARE, "within 1 point",
        ),
        _quarantine(
            "CHK-024", "The exam is said not to have been started, but has measurements.",
            ("performed", "n_valid"),
            (pl.col("performed") == Performed.PERFORMED.value) | ~has_figures,
            "no measurements, or an exam that was performed",
        ),
        _flag(
            "CHK-025", "No valid measurement, but a stiffness.", ("n_valid", "stiffness"),
            _where(pl.col("n_valid") == 0, pl.col("stiffness_value").is_null()),
            "no stiffness, or at least one valid measurement",
        ),
        _flag(
            "CHK-026", "Attenuation in dB/cm/MHz, but no frequency in the profile.",
            ("attenuation",), ~frequency_is_missing, "frequency_mhz in the profile",
        ),
    ]  # fmt: skip


def _unit_checks() -> list[Check]:
    """Whether a column holds one unit: a second one is told, never guessed."""
    checks = [
        _quarantine(
            "CHK-035", "The cell names another unit than its column has.", (name,),
            ~pl.col(f"{name}_other_unit"), "the one unit that the profile states",
        )
        for name in QUANTITIES
    ]  # fmt: skip
    checks += [
        _quarantine(
            "CHK-039", "The unit of the value is missing.", (name,),
            _where(_has(value) & ~_has(f"{name}_unit_text"), _has(f"{name}_unit")),
            "a unit in every row that has a value",
        )
        for name, value in (("stiffness", "stiffness_value"), ("attenuation", "attenuation_value"))
    ]  # fmt: skip
    checks.append(
        _quarantine(
            "CHK-036", "The column seems to hold two units, and this value could be of either.",
            ("stiffness",), _where(_has("stiffness_value"), ~pl.col("is_unit_doubtful")),
            "one unit in the whole column, or a column that names the unit of each row",
        )
    )  # fmt: skip
    return checks


def _reading_checks() -> list[Check]:
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
        _flag(
            "CHK-030", "The median as stated is not that of the single readings.",
            ("stiffness", "measurement"), pl.col("is_median_near"), "the same but for rounding",
        ),
        _flag(
            "CHK-031", "The IQR as stated is not that of the single readings.",
            ("stiffness_iqr", "measurement"), pl.col("is_iqr_near"),
            "the same but for rounding, by the quartile type of the profile",
        ),
        _flag(
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


def _doubling_checks() -> list[Check]:
    is_same = pl.col("is_same_content")
    return [
        _quarantine(
            "CHK-027", "The same exam stands twice in the file, with the same content.",
            ("exam_id",), _where(is_same, pl.col("is_first_of_exam")),
            "each exam once; the first of its rows was read",
        ),
        _quarantine(
            "CHK-028", "The same exam stands twice in the file, with different content.",
            ("exam_id",), is_same, "each exam once; none of its rows was read",
        ),
    ]  # fmt: skip


ROW_CHECKS: tuple[Check, ...] = (
    *_text_checks(),
    *_time_checks(),
    *_birth_checks(),
    *_register_checks(),
    *_quantity_checks(),
    *_agreement_checks(),
    *_unit_checks(),
    *_reading_checks(),
    *_doubling_checks(),
)
"""Checks of a row by itself and among the rows of its file."""

VERSION_CHECKS: tuple[Check, ...] = (
    _quarantine(
        "CHK-029",
        "The exam number is already known, for another patient on another day.",
        ("exam_id",),
        (pl.col("known_patient_key") == pl.col("patient_key"))
        | (pl.col("known_exam_on") == pl.col("exam_on")),
        "a number that the site gives once",
    ),
)
"""Checks of a row against what the warehouse knows."""

CHECKS = (*ROW_CHECKS, *VERSION_CHECKS)

SENTENCES: dict[str, str] = {
    check.code: check.sentence for check in sorted(CHECKS, key=lambda c: c.code)
}
"""Code → sentence for the site."""
