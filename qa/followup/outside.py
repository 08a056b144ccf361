"""Exams that no authorisation covers: by technique, probe and day of the exam."""

from collections.abc import Iterable

import polars as pl

from qa.followup.competence import OperatorFile
from qa.model.competence_words import ANY_PROBE, OutsideWhy
from qa.model.words import Performed, Probe

OUTSIDE_COLUMNS = (
    *("exam_key", "exam_on", "month", "site_id", "operator_id", "device_id"),
    *("technique", "probe", "why"),
)
_COVER = pl.Schema(
    {
        "operator_id": pl.String,
        "a_technique": pl.String,
        "a_probe": pl.String,
        "from_day": pl.Date,
        "to_day": pl.Date,
    }
)


def authorisation_frame(files: Iterable[OperatorFile]) -> pl.DataFrame:
    """One row per authorisation: operator, technique, probe, first and last day (null: open)."""
    rows = [
        (file.operator_id, one.technique, one.probe, one.from_day, one.to_day)
        for file in files
        for one in file.authorisations
    ]
    return pl.DataFrame(rows, schema=_COVER, orient="row")


def exams_outside(exams: pl.DataFrame, files: Iterable[OperatorFile]) -> pl.DataFrame:
    """Performed exams that no authorisation covers on their day.

    Args:     exams: rows of the published frame `exams`.
    Returns:  OUTSIDE_COLUMNS, one row per exam, by day and key. An exam whose probe was not
        recorded, or whose date stands for a period, is listed as "cannot be told" where the answer
        hangs on that.
    """
    done = exams.filter(pl.col("performed") == Performed.PERFORMED.value)
    pairs = done.select(
        "exam_key", "operator_id", "technique", "probe", "exam_on", "is_date_nominal"
    ).join(authorisation_frame(files), on="operator_id", how="left")
    is_technique = pl.col("a_technique") == pl.col("technique")
    is_unknown = (pl.col("probe") == Probe.UNKNOWN.value) & (pl.col("a_probe") != ANY_PROBE)
    is_probe = pl.col("a_probe").is_in([ANY_PROBE]) | (pl.col("a_probe") == pl.col("probe"))
    is_day = (pl.col("exam_on") >= pl.col("from_day")) & (
        pl.col("to_day").is_null() | (pl.col("exam_on") <= pl.col("to_day"))
    )
    told = pairs.group_by("exam_key").agg(
        _any(is_technique & is_probe & is_day & ~is_unknown, "covered"),
        _any(is_technique & is_unknown & is_day, "unknown_probe"),
        _any(is_technique & is_probe & pl.col("is_date_nominal"), "unknown_day"),
        _any(is_technique & is_probe, "had_probe"),
        _any(is_technique, "had_technique"),
        _any(pl.col("a_technique").is_not_null(), "had_any"),
    )
    return (
        done.join(told.filter(~pl.col("covered")), on="exam_key")
        .with_columns(_why().alias("why"))
        .select(OUTSIDE_COLUMNS)
        .sort("exam_on", "exam_key")
    )


def _any(expression: pl.Expr, name: str) -> pl.Expr:
    return expression.fill_null(value=False).any().alias(name)


def _why() -> pl.Expr:
    return (
        pl.when("unknown_probe")
        .then(pl.lit(OutsideWhy.UNKNOWN_PROBE.value))
        .when("unknown_day")
        .then(pl.lit(OutsideWhy.UNKNOWN_DAY.value))
        .when("had_probe")
        .then(pl.lit(OutsideWhy.DAY.value))
        .when("had_technique")
        .then(pl.lit(OutsideWhy.PROBE.value))
        .when("had_any")
        .then(pl.lit(OutsideWhy.TECHNIQUE.value))
        .otherwise(pl.lit(OutsideWhy.NONE.value))
    )
