"""Grade distributions of a pack: the site's month and year beside the network's year."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import polars as pl

from qa.model.definitions import GradeTable
from qa.model.months import add_months, iterate_months, month_name
from qa.model.published import Published
from qa.views import words
from qa.views.grade_bars import grade_bar
from qa.views.grades import table_text
from qa.views.shown import GradeBar

MONTHS = 12


@dataclass(frozen=True)
class GradeBlock:
    """One quantity by one table: a sentence and bars that may be compared."""

    quantity: str
    sentence: str
    table: GradeTable
    table_text: str
    bars: tuple[GradeBar, ...]


def grade_blocks(
    published: Published, *, site_id: str, site_name: str, month: date
) -> tuple[GradeBlock, ...]:
    """One block for each table that graded the site's exams in the last twelve months."""
    first = add_months(month, 1 - MONTHS)
    months = list(iterate_months(first, month))
    rows = _of_network(published, months)
    own = published.frame("grade_counts", site_id=site_id, month=months)
    return tuple(
        _block(published, table_id, quantity, rows=rows, own=own, name=site_name, month=month)
        for quantity, table_id in sorted(
            own.filter(pl.col("n_exams") > 0).select("quantity", "table_id").unique().iter_rows(),
            reverse=True,
        )
        if table_id in published.definitions.grade_tables
    )


def network_grade_blocks(published: Published, *, month: date) -> tuple[GradeBlock, ...]:
    """One block for each table that graded exams of any site: the month beside the year."""
    months = list(iterate_months(add_months(month, 1 - MONTHS), month))
    rows = _of_network(published, months)
    found = rows.filter(pl.col("n_exams") > 0).select("quantity", "table_id").unique()
    name = "Network"
    blocks = [
        _block(published, table_id, quantity, rows=rows, own=rows, name=name, month=month)
        for quantity, table_id in sorted(found.iter_rows(), reverse=True)
        if table_id in published.definitions.grade_tables
    ]
    return tuple(replace(one, bars=one.bars[:2]) for one in blocks)


def _of_network(published: Published, months: Sequence[date]) -> pl.DataFrame:
    """Sums over all sites, read month by month: the cells of a large network fill the memory."""
    keys = ["quantity", "table_id", "band", "month"]
    return pl.concat(
        published.frame("grade_counts", month=month).group_by(keys).agg(pl.sum("n_exams"))
        for month in months
    )


def _block(
    published: Published,
    table_id: str,
    quantity: str,
    *,
    rows: pl.DataFrame,
    own: pl.DataFrame,
    name: str,
    month: date,
) -> GradeBlock:
    table = published.definitions.grade_tables[table_id]
    is_quantity = pl.col("quantity") == quantity
    bars = (
        grade_bar(
            own.filter(is_quantity, pl.col("month") == month), table=table, label=month_name(month)
        ),
        grade_bar(own.filter(is_quantity), table=table, label=f"{name}, {MONTHS} months"),
        grade_bar(rows.filter(is_quantity), table=table, label=f"Network, {MONTHS} months"),
    )
    techniques = words.listed(list(table.techniques))
    sentence = _sentence(quantity, bars, techniques, month)
    return GradeBlock(quantity, sentence, table, table_text(table), bars)


def _sentence(quantity: str, bars: tuple[GradeBar, ...], techniques: str, month: date) -> str:
    """Above the lowest band: the month against the site's own year, never a verdict."""
    now, year, _ = bars
    what = f"{quantity.capitalize()} by {techniques}"
    if not now.n:
        return f"{what}: no exam graded in {month_name(month)}"
    share = words.percent(1 - now.shares[0])
    usual = words.percent(1 - year.shares[0])
    return f"{what}: {share} above the lowest band in {month_name(month)}, {usual} over the year"
