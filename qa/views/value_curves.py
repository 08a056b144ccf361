"""Empirical distribution of raw values: share of exams at or below each value, in two periods."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from qa.model.months import add_months, short_month_name
from qa.model.published import Published
from qa.views import words
from qa.views.explain_mix import VALUE

FEWEST = 20
"""Fewer exams make no curve."""
MOST_POINTS = 400


@dataclass(frozen=True)
class ValueCurve:
    """Share of exams (0 to 1) at or below each value; label: period and number of exams."""

    label: str
    is_now: bool
    values: tuple[float, ...]
    shares: tuple[float, ...]


@dataclass(frozen=True)
class CurvesView:
    """Curves of one technique. edges: of the table in force, drawn as lines."""

    title: str
    unit: str
    edges: tuple[float, ...]
    curves: tuple[ValueCurve, ...]


def value_curves(
    published: Published,
    *,
    site_id: str,
    quantity: str,
    table_id: str,
    edges: Sequence[float],
    month: date,
    months: int = 12,
) -> tuple[CurvesView, ...]:
    """The months up to the month against as many before them, each technique by itself.

    Args: table_id: exams graded by it count. Returns: techniques with FEWEST exams in the period.
    """
    column, unit, _ = VALUE[quantity]
    found = []
    spans = [
        [add_months(month, -k - back) for k in range(months)] for back in (months, 0)
    ]  # the earlier period first
    exams = published.frame("exams", site_id=site_id, month=[*spans[0], *spans[1]]).filter(
        pl.col(f"{quantity}_table_id") == table_id, pl.col(column) > 0
    )
    for technique in exams["technique"].unique().sort():
        rows = exams.filter(pl.col("technique") == technique)
        curves = [
            curve
            for span in spans
            if (curve := _curve(rows, column, span, is_now=span == spans[1])) is not None
        ]
        if curves and curves[-1].is_now:
            title = f"{words.as_sentence(quantity)[:-1]} by {technique}"
            found.append(CurvesView(title, unit, tuple(edges), tuple(curves)))
    return tuple(found)


def _curve(
    rows: pl.DataFrame, column: str, span: Sequence[date], *, is_now: bool
) -> ValueCurve | None:
    values = np.sort(rows.filter(pl.col("month").is_in(list(span)))[column].to_numpy())
    if len(values) < FEWEST:
        return None
    distinct, last = np.unique(values, return_counts=True)
    share = np.cumsum(last) / len(values)
    kept = np.unique(np.linspace(0, len(distinct) - 1, MOST_POINTS).round().astype(int))
    label = (
        f"{short_month_name(span[-1])} to {short_month_name(span[0])}, "
        f"{words.counted(len(values), 'exam')}"
    )
    return ValueCurve(label, is_now, tuple(distinct[kept].tolist()), tuple(share[kept].tolist()))
