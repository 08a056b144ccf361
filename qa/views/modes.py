"""Months in which exams of several acquisition modes stand side by side, in words."""

from datetime import date

import polars as pl

from qa.model.definitions import Measure
from qa.model.months import month_name
from qa.model.published import Published
from qa.views import words

MODE_COLUMNS: dict[str, str] = {
    "n_chosen_with_success": "a number that the operator chose",
    "n_fixed_with_success": "a fixed group",
    "n_unstated_with_success": "a mode that was not stated",
}


def mixed_text(
    published: Published,
    measure: Measure,
    unit_kind: str,
    unit_id: str,
    *,
    months: tuple[date, date],
) -> str:
    """Says that exams of another acquisition mode are not in a success rate.

    Args:     months: first and last month that are shown.
    Returns:  "" for a measure of anything else, and where the unit has no exams of another mode.
    Example:  "In 2 of 24 months, October 2026 the last, exams of another acquisition mode are left
              out, since success rates of different modes are not compared: 40 by a fixed group."
    """
    own = set(measure.denominator)
    if not own <= MODE_COLUMNS.keys():
        return ""
    place = {} if unit_kind == "network" else {f"{unit_kind}_id": unit_id}
    counts = published.frame("monthly_counts", **place).filter(pl.col("month").is_between(*months))
    others = [name for name in MODE_COLUMNS if name not in own]
    by_month = counts.group_by("month").agg(pl.col(*MODE_COLUMNS).sum()).sort("month")
    mixed = by_month.filter(
        pl.sum_horizontal(others) > 0, pl.sum_horizontal(measure.denominator) > 0
    )
    if mixed.is_empty():
        return ""
    left_out = [
        f"{words.whole(total)} by {MODE_COLUMNS[name]}"
        for name in others
        if (total := int(mixed[name].sum()))
    ]
    return (
        f"In {mixed.height} of {words.counted(by_month.height, 'month')}, "
        f"{month_name(mixed['month'][-1])} the last, exams of another acquisition mode are left "
        f"out, since success rates of different modes are not compared: {words.listed(left_out)}."
    )
