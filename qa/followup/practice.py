"""Currency as a measure: exams in the last 12 months, and exams outside an authorisation."""

from collections.abc import Sequence

import polars as pl

from qa.followup.competence import OperatorFile
from qa.followup.outside import exams_outside
from qa.followup.standing import YEAR
from qa.model.competence_words import OutsideWhy
from qa.model.practice_schema import PRACTICE_MONTHS

UNTOLD = (OutsideWhy.UNKNOWN_PROBE.value, OutsideWhy.UNKNOWN_DAY.value)
_KEY = ["operator_id", "site_id", "month"]


def practice_months(
    counts: pl.DataFrame,
    exams: pl.DataFrame,
    files: Sequence[OperatorFile],
    *,
    current_exams_a_year: int,
) -> pl.DataFrame:
    """Practice of each operator, month by month.

    Args:     counts: MONTHLY_COUNTS. exams: the published frame `exams`.
              files: operators' files; none: nobody keeps them, so nothing is outside or inside.
              current_exams_a_year: exams within 12 months from which an operator is current.
    Returns:  PRACTICE_MONTHS; only months with performed exams.
    Weak when: an operator examined elsewhere too; other networks' exams are not known.
    Example:  40 exams in November 2025, 3 in October 2026 → October: year 43, not current at 50
    """
    own = counts.group_by(_KEY).agg(pl.col("n_performed").sum()).filter(pl.col("n_performed") > 0)
    if own.is_empty():
        return PRACTICE_MONTHS.empty()
    year = _year_sums(own)
    told = _outside_counts(exams, files)
    first_told = pl.lit(own["month"].min()).dt.offset_by(f"{YEAR - 1}mo")
    current = pl.when(pl.col("month") >= first_told).then(pl.col("n_year") >= current_exams_a_year)
    rows = (
        own.join(year, on=["operator_id", "month"])
        .join(told, on=_KEY, how="left")
        .with_columns(
            current.alias("is_current"),
            *(_known(name, is_kept=bool(files)) for name in ("n_outside", "n_untold")),
        )
    )
    return PRACTICE_MONTHS.conform(rows).sort(PRACTICE_MONTHS.key)


def _known(name: str, *, is_kept: bool) -> pl.Expr:
    return pl.col(name).fill_null(0) if is_kept else pl.lit(None, pl.Int64).alias(name)


def _year_sums(own: pl.DataFrame) -> pl.DataFrame:
    """Operator and month → exams anywhere in the 12 months that end with it."""
    by_month = own.group_by("operator_id", "month").agg(pl.col("n_performed").sum())
    earlier = by_month.rename({"month": "earlier", "n_performed": "n"})
    since = pl.col("month").dt.offset_by(f"-{YEAR - 1}mo")
    return (
        by_month.join(earlier, on="operator_id")
        .filter(pl.col("earlier").is_between(since, pl.col("month")))
        .group_by("operator_id", "month")
        .agg(n_year=pl.col("n").sum())
    )


def _outside_counts(exams: pl.DataFrame, files: Sequence[OperatorFile]) -> pl.DataFrame:
    is_untold = pl.col("why").is_in(UNTOLD)
    found = exams_outside(exams if files else exams.clear(), files)
    return found.group_by(_KEY).agg(
        n_outside=(~is_untold).sum().cast(pl.Int64), n_untold=is_untold.sum().cast(pl.Int64)
    )
