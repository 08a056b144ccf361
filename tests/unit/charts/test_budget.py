from datetime import date

import polars as pl
import pytest

from qa.charts.budget import MOST_PER_SERIES, expected_false_items, false_rates
from qa.model.definitions import Settings

MAY, JUNE = date(2026, 5, 1), date(2026, 6, 1)


def points(*months, is_watched=True):
    return pl.DataFrame({"month": months, "is_watched": is_watched}, schema={
        "month": pl.Date, "is_watched": pl.Boolean})  # fmt: skip


def test_false_rates_share_the_budget_among_the_series_of_each_month():
    many = points(*[MAY] * 1000, *[JUNE] * 500)
    rates = false_rates(many, Settings(false_items_per_month=1.0))
    assert rates[0] == pytest.approx(1 / 1000)
    assert rates[-1] == pytest.approx(1 / 500)


def test_false_rates_of_few_series_stay_at_the_most():
    assert false_rates(points(MAY), Settings()).tolist() == [MOST_PER_SERIES]


def test_false_rates_count_watched_measures_only():
    both = pl.concat([points(*[MAY] * 1000), points(*[MAY] * 9000, is_watched=False)])
    assert false_rates(both, Settings())[-1] == pytest.approx(1 / 1000)


def test_false_rates_of_a_month_do_not_change_when_later_months_come():
    early = points(*[MAY] * 700)
    later = pl.concat([early, points(*[JUNE] * 5000)])
    assert false_rates(later, Settings())[:700].tolist() == false_rates(early, Settings()).tolist()


@pytest.mark.parametrize(("n", "expected"), [(0, 0.0), (100, 0.3), (5000, 1.0)])
def test_expected_false_items(n, expected):
    assert expected_false_items(n, Settings()) == pytest.approx(expected)
