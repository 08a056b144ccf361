"""The network's false-alarm budget: how often each chart may call when nothing has changed."""

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa.model.definitions import Settings

Floats = NDArray[np.float64]

# Parts of the budget: lasting changes, single months, differences between peers. They add up to
# more than 1, because counts are whole numbers and use only a part of what they may, and because
# an operator's item also stands for its site's. Set so that a simulated list keeps the budget:
# python -m tests.benchmarks false-alarms.
DRIFT_PART, MONTH_PART, FUNNEL_PART = 1.0, 0.35, 0.3

# However few charts there are, none calls falsely more often than once in 500 months.
MOST_PER_SERIES = 0.003


def false_rates(points: pl.DataFrame, settings: Settings) -> Floats:
    """False items a month that each watched point's series may open.

    Args:
        points: watched points with month, is_watched.
        settings: false_items_per_month.
    Returns: one rate for each point, the same for all of one month: the budget divided by the
        series of watched measures that are monitored in that month, at most 0.002. Later
        series never change an earlier month.
    """
    series = points.group_by("month").agg(n_series=pl.col("is_watched").sum())
    counted = points.select("month").join(series, on="month", how="left", maintain_order="left")
    n_series = np.maximum(counted["n_series"].to_numpy().astype(np.float64), 1.0)
    return np.minimum(settings.false_items_per_month / n_series, MOST_PER_SERIES)


def expected_false_items(n_series: int, settings: Settings) -> float:
    """Items that a month's list opens by chance alone, over all watched series monitored.

    Example: 456 series, budget 1.0 → 0.91; 1,000 series → 1.0
    """
    return min(settings.false_items_per_month, n_series * MOST_PER_SERIES)
