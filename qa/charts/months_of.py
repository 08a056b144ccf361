"""One series in arrays: its months, what was counted, and which months are its baseline."""

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa.charts.kinds import Quantity

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SeriesMonths:
    """Months of one unit, measure and criteria set.

    Args:
        quantity: what a month's figure is.
        months: first days, rising.
        n: exams of each month that the figure is about.
        total: events, counts or sum of values.
        squares: sum of squared values; zeros where the quantity is no mean.
        is_baseline: the months that the centre line comes from.
        removed: months of the baseline's period that were taken out of it.
    """

    quantity: Quantity
    months: tuple[date, ...]
    n: Floats
    total: Floats
    squares: Floats
    is_baseline: NDArray[np.bool_]
    removed: tuple[date, ...] = ()

    @property
    def value(self) -> Floats:
        """Share, rate or mean of each month; nan without exams."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(self.n > 0, self.total / self.n, np.nan)

    @property
    def centre(self) -> float:
        """Figure over the baseline; nan without one."""
        n = self.n[self.is_baseline].sum()
        return float(self.total[self.is_baseline].sum() / n) if n else float("nan")

    @property
    def spread(self) -> Floats:
        """Standard deviation between exams of each month; nan for fewer than two."""
        with np.errstate(divide="ignore", invalid="ignore"):
            variance = (self.squares - self.total**2 / self.n) / (self.n - 1)
        return np.sqrt(np.where(self.n > 1, np.maximum(variance, 0.0), np.nan))


def series_months(
    months: pl.DataFrame,
    *,
    quantity: Quantity,
    baseline: tuple[date, date] | None,
    removed: Collection[date] = (),
) -> SeriesMonths:
    """Take one series from a frame.

    Args:
        months: one row per month with month, n, total and, for means, squares.
        baseline: its first and last month; None where there is none yet.
        removed: months of it that were taken out.
    Returns: the months with exams, in order.
    """
    rows = months.filter(pl.col("n") > 0).sort("month")
    days = tuple(rows["month"].to_list())
    squares = rows["squares"].to_numpy() if "squares" in rows.columns else np.zeros(rows.height)
    is_baseline = [
        baseline is not None and baseline[0] <= day <= baseline[1] and day not in removed
        for day in days
    ]
    return SeriesMonths(
        quantity=quantity,
        months=days,
        n=rows["n"].to_numpy().astype(np.float64),
        total=rows["total"].to_numpy().astype(np.float64),
        squares=squares.astype(np.float64),
        is_baseline=np.array(is_baseline, dtype=bool),
        removed=tuple(day for day in days if day in removed),
    )


def pool_quarters(series: SeriesMonths) -> SeriesMonths:
    """The same series by calendar quarter, each named by its first month with exams.

    A quarter belongs to the baseline where all of its months with exams do.
    """
    keys = [day.year * 4 + (day.month - 1) // 3 for day in series.months]
    _, first, group = np.unique(keys, return_index=True, return_inverse=True)
    size = len(first)

    def summed(values: Floats) -> Floats:
        return np.bincount(group, values, minlength=size).astype(np.float64) if size else values

    months = np.bincount(group, minlength=size) if size else np.zeros(0)
    whole = summed(series.is_baseline.astype(np.float64)) == months
    return replace(
        series,
        months=tuple(series.months[place] for place in first.tolist()),
        n=summed(series.n),
        total=summed(series.total),
        squares=summed(series.squares),
        is_baseline=np.asarray(whole, dtype=bool),
    )
