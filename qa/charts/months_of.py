"""One series in arrays: its months, what was counted, and which months are its baseline."""

from dataclasses import dataclass
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
    """

    quantity: Quantity
    months: tuple[date, ...]
    n: Floats
    total: Floats
    squares: Floats
    is_baseline: NDArray[np.bool_]

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
    months: pl.DataFrame, *, quantity: Quantity, baseline: tuple[date, date] | None
) -> SeriesMonths:
    """Take one series from a frame.

    Args:
        months: one row per month with month, n, total and, for means, squares.
        baseline: its first and last month; None where there is none yet.
    Returns: the months with exams, in order.
    """
    rows = months.filter(pl.col("n") > 0).sort("month")
    days = tuple(rows["month"].to_list())
    squares = rows["squares"].to_numpy() if "squares" in rows.columns else np.zeros(rows.height)
    is_baseline = [baseline is not None and baseline[0] <= day <= baseline[1] for day in days]
    return SeriesMonths(
        quantity=quantity,
        months=days,
        n=rows["n"].to_numpy().astype(np.float64),
        total=rows["total"].to_numpy().astype(np.float64),
        squares=squares.astype(np.float64),
        is_baseline=np.array(is_baseline, dtype=bool),
    )
