"""How many repeats were made at once: the sign that repeating itself is the cause."""

import polars as pl

from qa.model.words import UnitKind
from qa.signals.families import Families

_COUNTED = ("n_repeats", "n_judged", "n_first_pass_judged")


def add_at_once_share(
    signals: pl.DataFrame, counts: pl.DataFrame | None, *, families: Families
) -> pl.DataFrame:
    """Add at_once_share: of a unit's repeats since since_month, those of the same session.

    Args: counts: MONTHLY_COUNTS; None: not known.
    Returns: the same rows; 0 for other measures, without repeats and where it is not known.
    Method: judged exams that are not the first of their session, of all repeats: recalls come
        days later, a poor exam that is measured again until it passes is repeated on the same day,
        whatever order was declared.
    """
    rows = signals.with_row_index("row_no")
    asked = rows.filter(pl.col("measure_id").is_in(list(families.repeats)))
    if counts is None or asked.is_empty():
        return signals.with_columns(at_once_share=pl.lit(0.0))
    parts = [
        _sums(asked.filter(pl.col("unit_kind") == str(kind)), counts, column)
        for kind, column in (
            (UnitKind.SITE, "site_id"),
            (UnitKind.OPERATOR, "operator_id"),
            (UnitKind.NETWORK, None),
        )
    ]
    shares = pl.concat(parts)
    return (
        rows.join(shares, on="row_no", how="left", maintain_order="left")
        .with_columns(pl.col("at_once_share").fill_null(0.0))
        .drop("row_no")
    )


def _sums(asked: pl.DataFrame, counts: pl.DataFrame, column: str | None) -> pl.DataFrame:
    """row_no and at_once_share of one kind of unit."""
    unit = pl.lit("network") if column is None else pl.col(column)
    monthly = (
        counts.select(unit.alias("unit_id"), "criteria_id", "month", *_COUNTED)
        .group_by("unit_id", "criteria_id", "month")
        .agg(pl.col(_COUNTED).sum())
        .rename({"month": "counted_month"})
    )
    found = (
        asked.select("row_no", "unit_id", "criteria_id", "month", "since_month")
        .join(monthly, on=["unit_id", "criteria_id"], how="inner")
        .filter(pl.col("counted_month").is_between("since_month", "month"))
        .group_by("row_no")
        .agg(pl.col(_COUNTED).sum())
    )
    at_once = pl.col("n_judged") - pl.col("n_first_pass_judged")
    share = (at_once / pl.col("n_repeats")).clip(0.0, 1.0)
    return found.select(
        "row_no", at_once_share=pl.when(pl.col("n_repeats") > 0).then(share).otherwise(0.0)
    )
