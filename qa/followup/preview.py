"""What a new criteria set would do to months that are judged already: counts side by side."""

from dataclasses import dataclass

import polars as pl

from qa.measures import measure_values
from qa.model.definitions import Measure
from qa.model.words import UnitKind


@dataclass(frozen=True)
class Side:
    """Reliable exams under one set of rules. Shares 0 to 1, Wilson 95 %; None with no exams."""

    n_events: int
    n: int
    value: float | None
    lower: float | None
    upper: float | None


@dataclass(frozen=True)
class SitePreview:
    """One site, or the network, before and after.

    Args:
        n_changed: performed exams whose outcome would be another.
        changes: (outcome before, outcome after, exams), the most frequent first.
    """

    unit_id: str
    before: Side
    after: Side
    n_changed: int
    changes: tuple[tuple[str, str, int], ...]


def compare_outcomes(
    exams: pl.DataFrame,
    before: tuple[pl.DataFrame, pl.DataFrame],
    after: tuple[pl.DataFrame, pl.DataFrame],
    *,
    measure: Measure,
) -> list[SitePreview]:
    """Hold two judgements of the same exams side by side, the network first, then sites by id.

    Args:
        exams: exam_key and site_id of the exams judged.
        before, after: ASSESSMENTS and MONTHLY_COUNTS of either judgement.
        measure: the measure that is compared (reliable exams).
    Returns: empty where there are no exams. The order of rows does not matter.
    """
    both = (
        before[0]
        .select("exam_key", old="outcome")
        .join(after[0].select("exam_key", new="outcome"), on="exam_key")
        .join(exams.select("exam_key", "site_id"), on="exam_key")
        .filter(pl.col("old").ne_missing(pl.col("new")))
    )
    units = sorted(set(exams["site_id"]))
    found = []
    for unit_id in ([UnitKind.NETWORK.value, *units]) if units else []:
        rows = both if unit_id == UnitKind.NETWORK else both.filter(pl.col("site_id") == unit_id)
        found.append(
            SitePreview(
                unit_id,
                _side(before[1], measure, unit_id),
                _side(after[1], measure, unit_id),
                rows.height,
                _changes(rows),
            )
        )
    return found


def _changes(rows: pl.DataFrame) -> tuple[tuple[str, str, int], ...]:
    counted = (
        rows.group_by("old", "new").len().sort("len", "old", "new", descending=[True, False, False])
    )
    return tuple((old or "none", new or "none", n) for old, new, n in counted.iter_rows())


def _side(counts: pl.DataFrame, measure: Measure, unit_id: str) -> Side:
    """Months and criteria sets taken together: a comparison of sums, no chart."""
    kind = UnitKind.NETWORK if unit_id == UnitKind.NETWORK else UnitKind.SITE
    own = counts if kind is UnitKind.NETWORK else counts.filter(pl.col("site_id") == unit_id)
    one_period = own.with_columns(
        criteria_id=pl.lit("all"), month=pl.lit(counts["month"].min(), dtype=pl.Date)
    )
    values = measure_values(one_period, measures=[measure], unit_kind=kind, home_sites={})
    if values.is_empty():
        return Side(0, 0, None, None, None)
    row = values.row(0, named=True)
    return Side(row["n_events"], row["n"], row["value"], row["lower"], row["upper"])
