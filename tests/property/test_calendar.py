"""How often sites without any change are called thin or partial, and whether real losses are.

Simulated with a fixed seed: sites that work five days a week; no outside source. The numbers are
those that qa/intake/calendar.py states: at most 4 of 1,000 months thin, at most 3 partial.
"""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from qa.intake.calendar import MIN_HISTORY_MONTHS, THIN_TAIL, intake_months
from qa.model.definitions import Network, Settings, Site
from qa.model.schemas import MONTH_CLOSES
from qa.stats.volume import thin_bound
from qa.stores.warehouse_history import DAILY, RESTATED

FIRST, N_DAYS = date(2023, 1, 2), 3 * 365 - 2
N_SITES = 40


def simulate_arrivals(rng: np.random.Generator, *, a_day: float, busy: float = 0.0) -> pl.DataFrame:
    """Sites that work from Monday to Friday; `busy`: how much months differ beyond Poisson."""
    days = [FIRST + timedelta(days=n) for n in range(N_DAYS)]
    works = np.array([one.weekday() < 5 for one in days])
    months = np.array([one.year * 12 + one.month for one in days])
    parts = []
    for site in range(N_SITES):
        shape = 1 / busy if busy else None
        factor = {m: rng.gamma(shape, busy) if shape else 1.0 for m in np.unique(months)}
        n = rng.poisson(a_day * works * np.array([factor[m] for m in months]))
        kept = np.flatnonzero(n)
        parts += [(f"s{site}", days[k], int(n[k]), 0, None) for k in kept]
    return pl.DataFrame(parts, schema=DAILY, orient="row")


def states(frame: pl.DataFrame) -> pl.DataFrame:
    sites = tuple(Site(f"s{n}", f"S{n}", "UTC", "p") for n in range(N_SITES))
    found = intake_months(
        frame,
        closes=MONTH_CLOSES.empty(),
        restated=pl.DataFrame(schema=RESTATED),
        network=Network("n", "N", True, sites, (), (), (), (), settings=Settings()),
        at=datetime(2026, 1, 20, tzinfo=UTC),
    )
    return found.filter(pl.col("expected_exams").is_not_null())


@pytest.mark.parametrize(
    ("a_day", "busy"), [(0.3, 0.0), (1.0, 0.0), (5.0, 0.0), (2.0, 0.02), (5.0, 0.05)]
)
def test_sites_without_change_are_called_as_rarely_as_promised(a_day: float, busy: float):
    found = states(simulate_arrivals(np.random.default_rng(20263), a_day=a_day, busy=busy))
    n = found.height
    assert n == N_SITES * (36 - MIN_HISTORY_MONTHS)
    thin = found.filter(state="thin").height / n
    partial = found.filter(state="partial").height / n
    assert thin <= THIN_TAIL
    assert partial <= 0.003


@pytest.mark.parametrize("mean", [20, 60, 200, 1000])
def test_thin_bound_keeps_its_tail_for_poisson_and_busier_months(mean: int):
    """4,000 simulated sites each; Poisson counts are called less often than the tail."""
    rng = np.random.default_rng(20264)
    for busy, low, high in ((0.0, 0.0, 0.006), (0.05, 0.0, 0.009)):
        rates = mean * (rng.gamma(1 / busy, busy, (4000, 13)) if busy else np.ones((4000, 13)))
        counts = rng.poisson(rates)
        called = [row[12] < thin_bound(row[:12], tail=THIN_TAIL) for row in counts]
        assert low <= np.mean(called) <= high


@pytest.mark.parametrize(("a_day", "at_least"), [(1.0, 0.7), (2.0, 0.95), (5.0, 1.0)])
def test_a_month_that_lost_two_thirds_of_its_exams_is_noticed(a_day: float, at_least: float):
    rng = np.random.default_rng(20265)
    frame = simulate_arrivals(rng, a_day=a_day)
    is_last = pl.col("exam_on") >= date(2025, 12, 1)
    lost = frame.filter(~is_last | (pl.Series(rng.random(frame.height)) < 1 / 3))
    found = states(lost).filter(month=date(2025, 12, 1))
    assert found.filter(pl.col("state").is_in(["thin", "partial"])).height / N_SITES >= at_least
