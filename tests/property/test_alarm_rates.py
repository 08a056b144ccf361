"""How often the list finds what has changed, and how often it calls when nothing has.

Simulated with a fixed seed: binomial counts of invented operators; no outside source. The whole
protocol is in tests/benchmarks (false-alarms, detection); this is a part of it.
"""

import numpy as np
import polars as pl
import pytest

from qa.model.definitions import Settings
from qa.model.months import add_months
from tests.simulated import (
    BASELINE_MONTHS,
    FIRST_MONTH,
    MEASURES,
    RATES,
    list_signals,
    new_items,
    simulate_network,
)


def test_a_network_without_change_lists_as_few_items_as_the_budget_says():
    rng = np.random.default_rng(20261)
    n_months, n_networks, items = 24, 3, 0
    for _ in range(n_networks):
        values = simulate_network(
            rng, RATES, exams=37, n_months=BASELINE_MONTHS + n_months, strength=100
        )
        items += new_items(list_signals(values, MEASURES)).height
    assert items / (n_networks * n_months) == pytest.approx(
        Settings().false_items_per_month, rel=0.4
    )


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
