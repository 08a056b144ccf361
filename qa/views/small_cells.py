"""Small cells of others: left out, with what would give them back by a difference.

Source: the small-cell rule of 5 is a proposal of the domain notes (7.5); that a cell left out may
    not be a difference of what is shown is primary and complementary suppression (Hundepool and
    others, Statistical Disclosure Control, 2012, chapter 4; from memory, verify).
"""

from collections.abc import Sequence

import polars as pl

from qa.model.permissions import SUPPRESS_BELOW


def without_small_cells(
    rows: pl.DataFrame, group: Sequence[str], *, cells: Sequence[str]
) -> pl.DataFrame:
    """Rows of others without those that hold a small cell.

    Args:
        rows: others' rows only; order is kept.
        group: columns within which rows add up to a total that may be known.
        cells: columns of counts; a row goes where one of them is below SUPPRESS_BELOW.
    Method: where any row of a group goes, the smallest of the rest go too until what is gone holds
        at least SUPPRESS_BELOW in each column, so that the difference from the total is no small
        cell either.
    Example: n 1, 30, 8 → 30, since 1 alone would be the difference, 1 + 8 is not below 5
    """
    fewest = pl.min_horizontal(cells)
    marked = rows.with_columns(
        _is_small=fewest < SUPPRESS_BELOW, _rank=fewest.rank("ordinal").over(group)
    )
    gone_before = [
        pl.col(name).cum_sum().over(group, order_by="_rank") - pl.col(name) for name in cells
    ]
    marked = marked.with_columns(
        _is_told=pl.min_horizontal(gone_before) < SUPPRESS_BELOW,
        _any=pl.col("_is_small").any().over(group),
    )
    return marked.filter(~pl.col("_is_small"), ~(pl.col("_any") & pl.col("_is_told"))).select(
        rows.columns
    )


def without_telling_totals(
    totals: pl.DataFrame, own: pl.DataFrame, keys: Sequence[str]
) -> pl.DataFrame:
    """Totals without those that, less one's own rows, leave a small cell of the others.

    Args: totals, own: rows with n and, for shares, n_events. keys: columns that name a total.
    Returns: rows of totals, in their order.
    """
    mine = own.group_by(keys).agg(_own_n=pl.col("n").sum(), _own_events=pl.col("n_events").sum())
    left = totals.join(mine, on=keys, how="left", maintain_order="left", nulls_equal=True)
    rest = pl.col("n") - pl.col("_own_n").fill_null(0)
    events = pl.col("n_events") - pl.col("_own_events").fill_null(0)
    is_told = (rest < SUPPRESS_BELOW) | (events < SUPPRESS_BELOW) | (rest - events < SUPPRESS_BELOW)
    return left.filter(~is_told.fill_null(rest < SUPPRESS_BELOW)).select(totals.columns)
