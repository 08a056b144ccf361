"""How often the rules find what has changed, and how often they call when nothing has.

Simulated with a fixed seed: binomial counts of invented operators; no outside source. The
figures are those that the rules' sentences and FALSE_ITEMS_PER_SERIES promise.
"""

from datetime import UTC, date, datetime

import numpy as np
import polars as pl
import pytest

from qa.charts.baseline import freeze_baselines
from qa.charts.compare import funnel_points
from qa.charts.control import chart_points
from qa.charts.rules import FALSE_ITEMS_PER_SERIES
from qa.model.definitions import Settings
from qa.model.months import add_months
from qa.model.schemas import BASELINES, MEASURE_VALUES
from qa.signals import find_signals
from tests.unit.charts.frames import make_measure

N_SITES, N_OPERATORS, BASELINE_MONTHS = 12, 45, 12
RATES = (0.05, 0.03, 0.01, 0.04, 0.08, 0.06, 0.10, 0.03)
MEASURES = [make_measure(id=f"MSR-{number:03d}") for number in range(len(RATES))]


def as_values(kind, n, events, measure_id):
    """MEASURE_VALUES of arrays (month, unit); operator k is at home in site k modulo 12."""
    n_months, n_units = n.shape
    months = [add_months(date(2024, 1, 1), number) for number in range(n_months)]
    frame = pl.DataFrame(
        {
            "month": [month for month in months for _ in range(n_units)],
            "number": list(range(n_units)) * n_months,
            "n_events": events.ravel(),
            "n": n.ravel(),
        }
    )
    return MEASURE_VALUES.conform(
        frame.with_columns(
            unit_kind=pl.lit(kind),
            unit_id=pl.format("{}-{}", pl.lit(kind), "number"),
            site_id=pl.format("site-{}", pl.col("number") % N_SITES),
            measure_id=pl.lit(measure_id),
            criteria_id=pl.lit("plain.v1"),
            value=pl.col("n_events") / pl.col("n"),
        )
    )


def simulate_network(rng, rates, *, exams, n_months, drifting=(), drift=0.0, from_month=0):
    """Operators and sites of an invented network; some operators change in the first measure."""
    n = np.maximum(rng.poisson(exams, (n_months, N_OPERATORS)), 1)
    parts = []
    for number, rate in enumerate(rates):
        share = np.full(n.shape, rate)
        if number == 0 and len(drifting):
            share[from_month:, drifting] += drift
        events = rng.binomial(n, share)
        measure_id = f"MSR-{number:03d}"
        parts.append(as_values("operator", n, events, measure_id))
        homes = np.arange(N_OPERATORS) % N_SITES
        by_site = [
            np.stack([counts[:, homes == site].sum(axis=1) for site in range(N_SITES)], axis=1)
            for counts in (n, events)
        ]
        parts.append(as_values("site", *by_site, measure_id))
    return pl.concat(parts)


def list_signals(values, measures):
    baselines = freeze_baselines(
        values,
        existing=BASELINES.empty(),
        measures=measures,
        settings=Settings(),
        set_at=datetime(2027, 1, 1, tzinfo=UTC),
        set_by="simulation",
    )
    points = chart_points(values, baselines=baselines, measures=measures, settings=Settings())
    watched = points.filter(pl.col("phase") == "monitoring")["month"].unique().sort()
    funnels = [
        funnel_points(values, measures=measures, unit_kind=kind, to_month=month, months=12)
        for month in watched
        for kind in ("site", "operator")
    ]
    return find_signals(points, pl.concat(funnels), measures=measures, names={}, operator_sites={})


def test_a_network_without_change_lists_as_few_items_as_promised():
    rng = np.random.default_rng(20261)
    n_months, n_networks, items = 18, 6, 0
    for _ in range(n_networks):
        values = simulate_network(rng, RATES, exams=37, n_months=BASELINE_MONTHS + n_months)
        items += list_signals(values, MEASURES).filter(pl.col("rank") > 0).height
    a_month = items / (n_networks * n_months)
    promised = FALSE_ITEMS_PER_SERIES * len(RATES) * (N_SITES + N_OPERATORS)
    assert promised == pytest.approx(1.6, abs=0.1)
    assert a_month == pytest.approx(promised, rel=0.35)


@pytest.mark.parametrize(("exams", "at_least"), [(25, 0.80), (30, 0.85), (40, 0.93)])
def test_ten_points_more_unreliable_exams_are_signalled_within_six_months(exams, at_least):
    rng = np.random.default_rng(20262)
    found, planted, start = 0, 0, 18
    for _ in range(12):
        drifting = rng.choice(N_OPERATORS, 4, replace=False)
        values = simulate_network(
            rng,
            RATES[:1],
            exams=exams,
            n_months=start + 6,
            drifting=drifting,
            drift=0.10,
            from_month=start,
        )
        signals = list_signals(values, MEASURES[:1]).filter(
            pl.col("month") >= add_months(date(2024, 1, 1), start)
        )
        units = set(signals["unit_id"])
        found += sum(f"operator-{number}" in units for number in drifting)
        planted += len(drifting)
    assert found / planted >= at_least
