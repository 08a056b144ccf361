"""Rows → accepted | quarantined: every row comes out once, with all of its reasons."""

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from qa.intake.bounds import FIRST_DAY
from qa.intake.check import Check
from qa.intake.findings import expected_text, found_text, heading_text
from qa.model.definitions import Profile
from qa.model.words import Severity

COUNTS = pl.Schema(
    {
        "code": pl.String,
        "column": pl.String,
        "n_fine": pl.Int64,
        "n_failed": pl.Int64,
        "n_cannot_tell": pl.Int64,
    }
)
_PLACE = ("file_no", "row_no", "site_id", "file_id", "profile_id", "known_at")
_TRACE = ("exam_key", "patient_key", "exam_at")
_REASONS = ("codes", "columns", "found", "expected")


@dataclass(frozen=True)
class Checked:
    """What became of rows.

    accepted: the rows that may enter, with `flags` (codes of the checks that flagged them).
    quarantined: place and provenance of the row, its keyed hashes and exam_at where they can be
        read, and the lists codes, columns, found, expected: one entry for each check that the
        row fails; flags are not among them.
    counts: one row per check and column: n_fine, n_failed, n_cannot_tell add up to the rows.
    """

    accepted: pl.DataFrame
    quarantined: pl.DataFrame
    counts: pl.DataFrame


def apply_checks(rows: pl.DataFrame, *, checks: Sequence[Check], profile: Profile) -> Checked:
    """Judge rows by a registry of checks.

    Args:     rows: with the columns that the checks read, file_no, row_no, site_id, file_id,
              profile_id, known_at; a column
              `flags` that is there already is added to.
    Returns:  Checked; accepted and quarantined keep the order of the rows.
    """
    results = rows.select(check.is_fine.alias(str(n)) for n, check in enumerate(checks))
    failed = {n: _failed(results[str(n)]) for n in range(len(checks))}
    blocking, flagging = (
        [n for n, check in enumerate(checks) if check.severity == severity and failed[n].len()]
        for severity in (Severity.QUARANTINE, Severity.FLAG)
    )
    numbered = rows.with_row_index("index")
    reasons = [_reasons(numbered, failed[n], n, checks[n], profile) for n in blocking]
    listed = _in_lists(reasons, _REASONS)
    waiting = numbered.select("index", *_PLACE, *_trace(rows)).join(
        listed, on="index", how="inner", maintain_order="left"
    )
    flags = _in_lists(
        [
            pl.DataFrame(
                {"index": failed[n], "order": n, "flags": checks[n].code},
                schema_overrides={"index": pl.UInt32, "order": pl.Int32},
            )
            for n in flagging
        ],
        ("flags",),
    )
    accepted = numbered
    if listed.height:
        accepted = numbered.join(listed, on="index", how="anti", maintain_order="left")
    return Checked(
        accepted=_with_flags(accepted, flags).drop("index"),
        quarantined=waiting.drop("index"),
        counts=_counts(results, failed, checks),
    )


def _failed(is_fine: pl.Series) -> pl.Series:
    """Places of the rows that fail; sought only where the counts say that there are any."""
    if is_fine.dtype == pl.Boolean and is_fine.sum() + is_fine.null_count() == is_fine.len():
        return pl.Series(dtype=pl.UInt32)
    return (~is_fine).fill_null(value=False).arg_true()


def _trace(rows: pl.DataFrame) -> list[pl.Expr]:
    """The keyed hashes and the time of the exam, where rows have them.

    A time too far back could be a date of birth in the wrong column, so it is not kept.
    """
    is_kept = pl.col("exam_on") >= FIRST_DAY if "exam_on" in rows.columns else pl.lit(value=True)
    return [
        pl.when(is_kept).then(name).alias(name) if name == "exam_at" else pl.col(name)
        for name in _TRACE
        if name in rows.columns
    ]


def _reasons(
    numbered: pl.DataFrame, failed: pl.Series, order: int, check: Check, profile: Profile
) -> pl.DataFrame:
    """One row per row of the source that fails this check."""
    return numbered[failed].select(
        "index",
        order=pl.lit(order, pl.Int32),
        codes=pl.lit(check.code),
        columns=pl.lit(heading_text(check, profile)),
        found=found_text(check),
        expected=pl.lit(expected_text(check, profile)),
    )


def _in_lists(parts: list[pl.DataFrame], names: tuple[str, ...]) -> pl.DataFrame:
    """One row per index, with the parts' values as lists in the order of the registry."""
    if not parts:
        return pl.DataFrame(schema={"index": pl.UInt32, **dict.fromkeys(names, pl.List(pl.String))})
    return pl.concat(parts).sort("index", "order").group_by("index", maintain_order=True).agg(names)


def _with_flags(rows: pl.DataFrame, flags: pl.DataFrame) -> pl.DataFrame:
    earlier = pl.col("flags") if "flags" in rows.columns else pl.lit([], pl.List(pl.String))
    if flags.is_empty():
        return rows.with_columns(flags=earlier)
    joined = rows.with_columns(flags_before=earlier)
    joined = joined.drop("flags", strict=False).join(
        flags, on="index", how="left", maintain_order="left"
    )
    both = pl.concat_list("flags_before", pl.col("flags").fill_null([]))
    return joined.with_columns(flags=both).drop("flags_before")


def _counts(
    results: pl.DataFrame, failed: dict[int, pl.Series], checks: Sequence[Check]
) -> pl.DataFrame:
    rows = []
    for n, check in enumerate(checks):
        n_failed, n_unknown = failed[n].len(), results[str(n)].null_count()
        n_fine = results.height - n_failed - n_unknown
        rows.append((check.code, ", ".join(check.columns), n_fine, n_failed, n_unknown))
    return pl.DataFrame(rows, schema=COUNTS, orient="row")
