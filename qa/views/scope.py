"""What a screen may show: published months, charted measures, the criteria set of a month."""

from datetime import date

import polars as pl

from qa.model.definitions import Measure, Network
from qa.model.months import add_months
from qa.model.published import Definitions, Published
from qa.model.words import UnitKind


def published_months(published: Published) -> list[date]:
    """Months in which the network has exams, oldest first; empty where nothing is published."""
    points = published.frame("chart_points", unit_kind=UnitKind.NETWORK.value)
    return points["month"].unique().sort().to_list()


def charted_measures(definitions: Definitions, unit_kind: str) -> list[Measure]:
    """Measures charted for this kind of unit: quality first, then the grade mixes, by code."""
    found = [item for item in definitions.measures.values() if unit_kind in item.units]
    return sorted(found, key=lambda item: (item.is_grade, item.id))


def criteria_of_month(network: Network, month: date) -> str | None:
    """The criteria set in force on the month's last day; None before the first set."""
    next_month = add_months(month, 1)
    in_force = [item for item in network.criteria if item.from_day < next_month]
    return max(in_force, key=lambda item: item.from_day).id if in_force else None


def one_row_a_month(points: pl.DataFrame) -> pl.DataFrame:
    """Where two criteria sets judged one month, keep the row with more exams (then the later id).

    Returns: the rows kept, sorted by month. Used for single figures; charts keep both.
    """
    keys = ["unit_kind", "unit_id", "measure_id", "month"]
    return (
        points.sort(*keys, "n", "criteria_id", descending=[False] * 4 + [True, True])
        .unique(keys, keep="first", maintain_order=True)
        .sort("month", maintain_order=True)
    )


def month_points(published: Published, month: date, *, unit_kind: str) -> pl.DataFrame:
    """CHART_POINTS of one month for one kind of unit, one row a unit and measure."""
    return one_row_a_month(published.frame("chart_points", unit_kind=unit_kind, month=month))
