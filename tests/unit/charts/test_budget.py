from datetime import date

import polars as pl
import pytest

from qa.charts.budget import MOST_PER_SERIES, count_list, expected_false_items, false_rates
from qa.model.definitions import Settings
from tests.unit.charts.frames import make_measure

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


def test_count_list_counts_charts_items_and_new_ones_of_the_month_alone():
    charts = pl.DataFrame(
        {
            "month": [JUNE, JUNE, JUNE, JUNE, MAY],
            "measure_id": ["MSR-001", "MSR-001", "MSR-001", "MSR-002", "MSR-001"],
            "phase": ["monitoring", "monitoring", "baseline", "monitoring", "monitoring"],
            "n": [9, 0, 9, 9, 9],
        }
    )
    signals = pl.DataFrame(
        {"month": [JUNE, JUNE, JUNE, MAY], "rank": [1, 2, 0, 1], "opened_month": [JUNE, MAY] * 2}
    )
    measures = [make_measure(), make_measure(id="MSR-002", is_watched=False)]
    found = count_list(charts, signals, month=JUNE, measures=measures, settings=Settings())
    assert (found.n_items, found.n_new, found.n_charts) == (2, 1, 1)
    assert found.n_expected == pytest.approx(MOST_PER_SERIES)
