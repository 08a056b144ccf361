"""The network's false-alarm budget: how often each chart may call when nothing has changed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa.model.definitions import Measure, Settings
from qa.model.words import Phase

Floats = NDArray[np.float64]

# Parts of the budget: lasting changes, single months, differences between peers. They add up to
# more than 1, because counts are whole numbers and use only a part of what they may, and because
# an operator's item also stands for its site's. Set so that a simulated list keeps the budget:
# python -m tests.benchmarks false-alarms.
DRIFT_PART, MONTH_PART, FUNNEL_PART = 1.15, 0.1, 0.3

# However few charts there are, none calls falsely more often than once in 500 months.
MOST_PER_SERIES = 0.003


def false_rates(points: pl.DataFrame, settings: Settings) -> Floats:
    """False items a month that each watched point's series may open.

    Args:
        points: watched points with month, is_watched.
        settings: false_items_per_month.
    Returns: one rate for each point, the same for all of one month: the budget divided by the
        series of watched measures that are monitored in that month, at most 0.003. Later
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


@dataclass(frozen=True)
class MonthList:
    """A month's list in figures, and what chance alone adds to it.

    Args:
        n_items, n_new: items on the list, and those that opened in the month.
        n_charts: series of watched measures that are monitored in the month.
        n_expected: new items expected when nothing has changed anywhere.
    """

    month: date
    n_items: int
    n_new: int
    n_charts: int
    n_expected: float


def count_list(
    points: pl.DataFrame,
    signals: pl.DataFrame,
    *,
    month: date,
    measures: Sequence[Measure],
    settings: Settings,
) -> MonthList:
    """Count a month's list.

    Args:
        points: CHART_POINTS; signals: SIGNALS; of other months too.
        measures: the measures in use.
    """
    watched = [one.id for one in measures if one.is_watched]
    is_chart = (
        (pl.col("month") == month)
        & pl.col("measure_id").is_in(watched)
        & (pl.col("phase") == Phase.MONITORING)
        & (pl.col("n") > 0)
    )
    n_charts = points.filter(is_chart).height
    items = signals.filter((pl.col("month") == month) & (pl.col("rank") > 0))
    return MonthList(
        month=month,
        n_items=items.height,
        n_new=items.filter(pl.col("opened_month") == month).height,
        n_charts=n_charts,
        n_expected=expected_false_items(n_charts, settings),
    )
