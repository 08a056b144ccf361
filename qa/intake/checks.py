"""The checks of a row: one registry that intake, screens and tests read.

An expression is true when the row is fine, false when it fails, null when it cannot be told
(for example because a figure is missing). "Cannot tell" is its own result: it neither passes nor
holds a row back.
"""

import polars as pl

from qa.intake.bounds import FIRST_DAY, OTHER_BOUNDS
from qa.intake.check import Check, has, quarantine, where
from qa.intake.figure_checks import (
    agreement_checks,
    quantity_checks,
    reading_checks,
    unit_checks,
)
from qa.intake.findings import WITHHELD
from qa.intake.targets import TARGETS, Kind, names_of_kind
from qa.model.words import Severity

INTAKE_VERSION = 3
"""Raise it when the same file would come out differently; every file is then read again."""


def _text_checks() -> list[Check]:
    """Whether each cell can be read at all."""
    checks = [
        quarantine(
            "CHK-001", "A value that every exam needs is missing.", (target.name,),
            has(f"{target.name}_text") | has(f"{target.name}_word"), "a value",
        )
        for target in TARGETS
        if target.is_needed
    ]  # fmt: skip
    checks.append(
        quarantine(
            "CHK-001", "A value that every exam needs is missing.", ("site",),
            has("site_of_file") | has("site_text"), "a value",
        )
    )  # fmt: skip
    for target in TARGETS:
        if target.kind == Kind.IDENTIFIER:
            continue
        result = "value" if target.kind == Kind.WORD else "word"
        checks.append(
            quarantine(
                "CHK-005", "The profile does not know this code.", (target.name,),
                where(has(f"{target.name}_text"), has(f"{target.name}_{result}")),
                "one of the codes {codes}",
            )
        )  # fmt: skip
    for name in names_of_kind(Kind.NUMBER, Kind.WHOLE):
        checks += _number_checks(name)
    return checks


def _number_checks(name: str) -> list[Check]:
    is_whole = name in names_of_kind(Kind.WHOLE)
    number, has_word = pl.col(f"{name}_number"), has(f"{name}_word")
    has_other_sign = pl.col(f"{name}_other_sign")
    is_read = pl.col(f"{name}_is_read")
    checks = [
        quarantine(
            "CHK-002", "This is no number.", (name,),
            where(has_word & ~has_other_sign, is_read),
            "a whole number such as 12" if is_whole else "a number such as 12{decimal}5",
        ),
        quarantine(
            "CHK-003", "The number is written with the other decimal sign.", (name,),
            where(has_word, ~has_other_sign), "the decimal sign '{decimal}'",
        ),
    ]  # fmt: skip
    if is_whole:
        checks.append(
            quarantine(
                "CHK-004", "This is no whole number.", (name,), number == number.round(),
                "a whole number",
            )
        )  # fmt: skip
    return checks


def _time_checks() -> list[Check]:
    is_read = pl.any_horizontal(has("local_at"), has("given_at"))
    is_unclear = pl.col("is_order_unclear")
    exam_at = ("exam_at",)
    return [
        quarantine(
            "CHK-006", "The date or time cannot be read.", exam_at,
            where(has("exam_at_word") & ~is_unclear, is_read), "the form {date_format}",
        ),
        quarantine(
            "CHK-007", "Day and month of the date could be the other way round.", exam_at,
            where(has("exam_at_word"), ~is_unclear),
            "one form of date in the whole file: {date_format}",
        ),
        quarantine(
            "CHK-008", "This local time did not exist: the clock was put forward.", exam_at,
            where(has("local_at"), ~pl.col("is_time_missing")), "a time that the clock showed",
        ),
        quarantine(
            "CHK-009", "This local time came twice: the clock was put back.", exam_at,
            where(has("local_at"), ~pl.col("is_time_doubled")),
            "a time with its offset from UTC, or one outside that hour",
        ),
        quarantine(
            "CHK-010", "The exam lies in the future.", exam_at,
            pl.col("day_starts_at") <= pl.col("known_at"), "a time before the file was read",
        ),
        quarantine(
            "CHK-011", "The exam lies too far back.", exam_at,
            pl.col("exam_on") >= FIRST_DAY, f"{FIRST_DAY:%Y} or later",
        ),
    ]  # fmt: skip


def _birth_checks() -> list[Check]:
    _, oldest = OTHER_BOUNDS["age_years"]
    return [
        quarantine(
            "CHK-037", "The birth date cannot be read.", ("birth_date",),
            where(has("birth_date_word"), pl.col("is_birth_date_read")), "the form {date_format}",
        ),
        quarantine(
            "CHK-038", "The birth date does not fit the date of the exam.", ("birth_date",),
            pl.col("age_from_birth").is_between(0, oldest),
            f"a day before the exam, at most {oldest:g} years",
        ),
    ]  # fmt: skip


def _register_checks() -> list[Check]:
    techniques = pl.col("device_techniques")
    return [
        quarantine(
            "CHK-012", "The operator's code is not in network.toml for this site.", ("operator",),
            where(has("site_id") & has("operator_word"), has("operator_id")),
            "a code under [[operators]] of this site",
        ),
        quarantine(
            "CHK-013", "The device's code is not in network.toml for this site.", ("device",),
            where(has("site_id") & has("device_word"), has("device_id")),
            "a code under [[devices]] of this site",
        ),
        quarantine(
            "CHK-014", "The device does not do this technique.", ("technique", "device"),
            where(techniques.list.len() > 0, techniques.list.contains(pl.col("technique"))),
            "a technique that network.toml lists for the device",
        ),
        quarantine(
            "CHK-015", "The row names a site that is not in network.toml.", ("site",),
            where(has("site_word"), has("site_id")), "an id under [[sites]]",
        ),
        quarantine(
            "CHK-016", "The row names another site than the one that sent the file.", ("site",),
            pl.col("site_word") == pl.col("site_of_file"), "the site that sent the file",
        ),
    ]  # fmt: skip


def _doubling_checks() -> list[Check]:
    is_same = pl.col("is_same_content")
    return [
        quarantine(
            "CHK-027", "The same exam stands twice in the file, with the same content.",
            ("exam_id",), where(is_same, pl.col("is_first_of_exam")),
            "each exam once; the first of its rows was read",
        ),
        quarantine(
            "CHK-028", "The same exam stands twice in the file, with different content.",
            ("exam_id",), is_same, "each exam once; none of its rows was read",
        ),
    ]  # fmt: skip


ROW_CHECKS: tuple[Check, ...] = (
    *_text_checks(),
    *_time_checks(),
    *_birth_checks(),
    *_register_checks(),
    *quantity_checks(),
    *agreement_checks(),
    *unit_checks(),
    *reading_checks(),
    *_doubling_checks(),
)
"""Checks of a row by itself and among the rows of its file."""

VERSION_CHECKS: tuple[Check, ...] = (
    Check(
        "CHK-029",
        "The exam number is already known, for another patient on another day.",
        Severity.QUARANTINE,
        ("exam_id",),
        (pl.col("known_patient_key") == pl.col("patient_key"))
        | (pl.col("known_exam_on") == pl.col("exam_on")),
        "a number that the site gives once",
        found=pl.lit(WITHHELD),
    ),
)
"""Checks of a row against what the warehouse knows."""

CHECKS = (*ROW_CHECKS, *VERSION_CHECKS)

SENTENCES: dict[str, str] = {
    check.code: check.sentence for check in sorted(CHECKS, key=lambda c: c.code)
}
"""Code → sentence for the site."""
