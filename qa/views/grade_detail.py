"""One site's mix more closely: by operator and device, raw values, other tables on the same exams.

Grade tables disagree: the same exams fall into other bands by each, so they stand side by side.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import polars as pl

from qa.assess.bands import with_bands
from qa.charts.curves import share_intervals
from qa.drift.moved import value_quantiles
from qa.model.definitions import GradeTable, InForce
from qa.model.months import add_months, short_month_name
from qa.model.published import Published
from qa.model.words import UnitKind
from qa.views import words
from qa.views.explain_mix import VALUE
from qa.views.grade_bars import grade_bar
from qa.views.names import spoken_name
from qa.views.shown import GradeBar
from qa.views.value_curves import CurvesView, value_curves

SHARES = (0.1, 0.25, 0.5, 0.75, 0.9)


@dataclass(frozen=True)
class ValueRow:
    """Quantiles of the raw values of one unit and technique, as texts in the order of SHARES."""

    name: str
    n: int
    quantiles: tuple[str, ...]


@dataclass(frozen=True)
class TableBeside:
    """One grade table on the same exams. reached: (edge, share at or above it with interval)."""

    table: GradeTable
    is_in_force: bool
    bar: GradeBar
    reached: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class GradeDetail:
    """members: bands by operator, then by device; by_month: of each month of the period, oldest
    first. curves: empirical distributions. tables: the one in force first. sentence: how far the
    tables are apart."""

    members: tuple[GradeBar, ...]
    by_month: tuple[GradeBar, ...]
    values: tuple[ValueRow, ...]
    curves: tuple[CurvesView, ...]
    tables: tuple[TableBeside, ...]
    sentence: str


def grade_detail(
    published: Published, table: GradeTable, *, site_id: str, month: date, months: int = 12
) -> GradeDetail:
    """The chosen table at one site over the months up to the month, that one included."""
    span = [add_months(month, -k) for k in range(months)]
    counts = published.frame("grade_counts", site_id=site_id, table_id=table.id, month=span)
    exams = published.frame("exams", site_id=site_id, month=span).filter(
        pl.col(f"{table.quantity}_table_id") == table.id
    )
    tables = _tables(published, exams, table)
    return GradeDetail(
        members=tuple(_members(published, counts, table)),
        by_month=tuple(
            grade_bar(
                counts.filter(pl.col("month") == one), table=table, label=short_month_name(one)
            )
            for one in reversed(span)
        ),
        values=tuple(_values(published, exams, table)),
        curves=value_curves(
            published,
            site_id=site_id,
            quantity=table.quantity,
            table_id=table.id,
            edges=table.edges,
            month=month,
            months=months,
        ),
        tables=tables,
        sentence=_sentence(tables),
    )


def _members(published: Published, counts: pl.DataFrame, table: GradeTable) -> list[GradeBar]:
    bars = []
    for kind in (UnitKind.OPERATOR, UnitKind.DEVICE):
        column = f"{kind}_id"
        for unit_id in counts[column].drop_nulls().unique().sort():
            rows = counts.filter(pl.col(column) == unit_id)
            label = spoken_name(published.network, kind, unit_id)
            bars.append(grade_bar(rows, table=table, label=label, unit_id=unit_id))
    return bars


def _values(published: Published, exams: pl.DataFrame, table: GradeTable) -> list[ValueRow]:
    """Of the site, its operators and its devices; one row for each technique."""
    column, unit, decimals = VALUE[table.quantity]
    rows = []
    groups = [("All", pl.lit("all"), ("all",))]
    for kind in (UnitKind.OPERATOR, UnitKind.DEVICE):
        ids = exams[f"{kind}_id"].drop_nulls().unique().sort().to_list()
        groups += [
            (spoken_name(published.network, kind, one), pl.col(f"{kind}_id"), (one,)) for one in ids
        ]
    for technique in exams["technique"].unique().sort():
        for name, key, wanted in groups:
            here = exams.filter(pl.col("technique") == technique, key.is_in(wanted))
            counts = here.drop_nulls(column).group_by(column).len().sort(column)
            if counts.is_empty():
                continue
            found = value_quantiles(counts[column].to_numpy(), counts["len"].to_numpy(), SHARES)
            texts = tuple(f"{one:.{decimals}f} {unit}" for one in found)
            rows.append(ValueRow(f"{name}, {technique}", int(counts["len"].sum()), texts))
    return rows


def _tables(
    published: Published, exams: pl.DataFrame, table: GradeTable
) -> tuple[TableBeside, ...]:
    """Every table of the same quantity that speaks of all techniques of the chosen one."""
    known = published.definitions.grade_tables.values()
    others = [
        one
        for one in known
        if one.quantity == table.quantity and set(table.techniques) <= set(one.techniques)
    ]
    ordered = sorted(others, key=lambda one: (one.id != table.id, one.id))
    return tuple(_beside(exams, one, is_in_force=one.id == table.id) for one in ordered)


def _beside(exams: pl.DataFrame, table: GradeTable, *, is_in_force: bool) -> TableBeside:
    always = InForce(table.id, date.min, table.quantity, table.techniques)
    banded = with_bands(exams, grade_tables=[(always, table)])
    counts = banded.group_by(
        table_id=f"{table.quantity}_table_id", band=f"{table.quantity}_band"
    ).agg(n_exams=pl.len())
    bar = grade_bar(counts.drop_nulls(), table=table, label=table.title)
    return TableBeside(table, is_in_force, bar, _reached(table, bar))


def _reached(table: GradeTable, bar: GradeBar) -> tuple[tuple[str, str], ...]:
    """Share at or above each edge, Wilson 95 % interval."""
    if not bar.n:
        return ()
    events = [sum(bar.counts[band:]) for band in range(1, len(bar.counts))]
    lower, upper = share_intervals(events, bar.n)
    return tuple(
        (f"{edge:g} {table.unit} and over", words.percent_with_interval(k / bar.n, low, high))
        for edge, k, low, high in zip(table.edges, events, lower, upper, strict=True)
    )


def _sentence(tables: Sequence[TableBeside]) -> str:
    """Example: '812 exams: 24.1 % above the lowest band by X, 41.0 % by Y.'"""
    shown = [one for one in tables if one.bar.n]
    if len(shown) < 2:
        return "No other table speaks of these exams." if shown else "No exams in the period."
    shares = [
        f"{words.percent(1 - one.bar.shares[0])}{' above the lowest band' if not k else ''} by "
        f"{one.table.id}"
        for k, one in enumerate(shown)
    ]
    n = words.counted(shown[0].bar.n, "exam")
    return f"The same {n}: {words.listed(shares)}. None of them says what anyone has."
