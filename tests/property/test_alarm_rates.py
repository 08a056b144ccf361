"""How often the list finds what has changed, and how often it calls when nothing has.

Simulated with a fixed seed: binomial counts of invented operators; no outside source. The whole
protocol is in tests/benchmarks (false-alarms, detection); this is a part of it.
"""

import numpy as np
import polars as pl
import pytest

from qa.model.definitions import Settings
from qa.model.months import add_months
from tests.many_networks import NetworkShape, false_items
from tests.simulated import (
    BASELINE_MONTHS,
    FIRST_MONTH,
    MEASURES,
    RATES,
    list_signals,
    simulate_network,
)


def test_a_network_without_change_lists_as_few_items_as_the_budget_says():
    """Five networks of two years: chance alone moves the mean by 10 % (one standard error)."""
    items = false_items(
        np.random.default_rng(20261),
        NetworkShape(12, 45, RATES),
        n_networks=5,
        baseline_months=BASELINE_MONTHS,
        watched_months=24,
    )
    a_month = items.mean() / 24
    assert a_month == pytest.approx(Settings().false_items_per_month, rel=0.25)


@pytest.mark.parametrize(("exams", "at_least"), [(25, 0.80), (30, 0.85), (40, 0.93)])
def test_ten_points_more_unreliable_exams_are_signalled_within_six_months(exams, at_least):
    """An eighth of the budget for one of eight measures."""
    rng = np.random.default_rng(20262)
    found, planted, start = 0, 0, 18
    for _ in range(12):
        drifting = rng.choice(45, 4, replace=False)
        values = simulate_network(
            rng,
            RATES[:1],
            exams=exams,
            n_months=start + 6,
            drifting=drifting,
            drift=0.10,
            from_month=start,
        )
        settings = Settings(false_items_per_month=1 / 8)
        signals = list_signals(values, MEASURES[:1], settings=settings).filter(
            pl.col("month") >= add_months(FIRST_MONTH, start)
        )
        units = set(signals["unit_id"])
        found += sum(f"operator-{number}" in units for number in drifting)
        planted += len(drifting)
    assert found / planted >= at_least
