"""Invented networks in figures: binomial counts of operators, with the sites they add up to."""

from datetime import UTC, date, datetime

import numpy as np
import polars as pl

from qa.charts.baseline import freeze_baselines
from qa.charts.compare import funnel_points
from qa.charts.control import chart_points
from qa.model.definitions import Settings
from qa.model.months import add_months
from qa.model.schemas import BASELINES, MEASURE_VALUES
from qa.signals import find_signals
from tests.unit.charts.frames import make_measure

BASELINE_MONTHS = 12
RATES = (0.05, 0.03, 0.01, 0.04, 0.08, 0.06, 0.10, 0.03)
MEASURES = [make_measure(id=f"MSR-{number:03d}") for number in range(len(RATES))]
FIRST_MONTH = date(2024, 1, 1)


def as_values(kind, n, events, measure_id, *, n_sites):
    """MEASURE_VALUES of arrays (month, unit); operator k is at home in site k modulo n_sites."""
    n_months, n_units = n.shape
    months = [add_months(FIRST_MONTH, number) for number in range(n_months)]
    frame = pl.DataFrame(
        {
            "month": pl.Series(months).gather(np.repeat(np.arange(n_months), n_units)),
            "number": np.tile(np.arange(n_units), n_months),
            "n_events": events.ravel(),
            "n": n.ravel(),
        }
    )
    return MEASURE_VALUES.conform(
        frame.with_columns(
            unit_kind=pl.lit(kind),
            unit_id=pl.format("{}-{}", pl.lit(kind), "number"),
            site_id=pl.format("site-{}", pl.col("number") % n_sites),
            measure_id=pl.lit(measure_id),
            criteria_id=pl.lit("plain.v1"),
            value=pl.col("n_events") / pl.col("n"),
        )
    )


def simulate_network(
    rng,
    rates,
    *,
    exams,
    n_months,
    n_sites=12,
    n_operators=45,
    drifting=(),
    drift=0.0,
    from_month=0,
    strength=np.inf,
):
    """Operators and sites of an invented network; some operators change in the first measure.

    strength: how alike operators are: their shares follow a beta distribution of this strength;
    infinite: all have the same. Those that change start at the rate itself.
    """
    n = np.maximum(rng.poisson(exams, (n_months, n_operators)), 1)
    homes = np.arange(n_operators) % n_sites
    parts = []
    for number, rate in enumerate(rates):
        own = np.full(n_operators, rate)
        if np.isfinite(strength):
            own = rng.beta(rate * strength, (1 - rate) * strength, n_operators)
        if number == 0 and len(drifting):
            own[drifting] = rate
        share = np.tile(own, (n_months, 1))
        if number == 0 and len(drifting):
            share[from_month:, drifting] += drift
        events = rng.binomial(n, share)
        measure_id = f"MSR-{number:03d}"
        parts.append(as_values("operator", n, events, measure_id, n_sites=n_sites))
        by_site = [
            np.stack([counts[:, homes == site].sum(axis=1) for site in range(n_sites)], axis=1)
            for counts in (n, events)
        ]
        parts.append(as_values("site", *by_site, measure_id, n_sites=n_sites))
    return pl.concat(parts)


def draw_charts(values, measures, *, settings=None):
    """CHART_POINTS with baselines frozen by the rule."""
    settings = settings or Settings()
    baselines = freeze_baselines(
        values,
        existing=BASELINES.empty(),
        measures=measures,
        settings=settings,
        set_at=datetime(2027, 1, 1, tzinfo=UTC),
        set_by="simulation",
    )
    return chart_points(values, baselines=baselines, measures=measures, settings=settings)


def list_signals(values, measures, *, settings=None, has_funnels=True):
    """What the list would show in each month after the baselines."""
    settings = settings or Settings()
    points = draw_charts(values, measures, settings=settings)
    watched = points.filter(pl.col("phase") == "monitoring")["month"].unique().sort()
    funnels = [
        funnel_points(values, measures=measures, unit_kind=kind, to_month=month, months=12)
        for month in (watched if has_funnels else watched[:1])
        for kind in ("site", "operator")
    ]
    return find_signals(
        points,
        pl.concat(funnels),
        measures=measures,
        names={},
        operator_sites={},
        settings=settings,
    )


def new_items(signals):
    """Items in the month they opened, of those that stand for themselves."""
    return signals.filter(pl.col("rank") > 0).unique("item_id")
