"""The run length beside a chart is that of the chart as drawn: against simulation, seeds stated."""

import numpy as np
import pytest
from scipy import stats

from qa.charts.draw import draw_series
from qa.charts.kinds import Quantity
from qa.charts.run_length import between_call_rate, count_call_rate, drawn_run_length
from tests.unit.charts.test_choose import series, shares

BASE, LATER = 12, 36


def made(kind: str, rng: np.random.Generator):
    months = BASE + LATER
    if kind in ("p", "np"):
        return shares(rng.binomial(50, 0.3, months), 50, n_baseline=BASE)
    if kind in ("u", "c"):
        return series(Quantity.RATE, 10, rng.poisson(30, months), n_baseline=BASE)
    values = rng.normal(size=(months, 25))
    return series(Quantity.MEAN, 25, values.sum(axis=1), (values**2).sum(axis=1), n_baseline=BASE)


@pytest.mark.parametrize("kind", ["p", "np", "u", "c", "xbar", "s"])
def test_drawn_run_length_equals_simulated_charts_with_their_own_baselines(kind):
    """600 charts of 36 months after a baseline of 12, limits at 2 sigma so that calls are many."""
    rng, n_calls, rates = np.random.default_rng(17), 0, []
    for _ in range(600):
        months = made(kind, rng)
        drawn = draw_series(months, kind, sigmas=2.0)
        n_calls += int(drawn.is_outside[BASE:].sum())
        if len(rates) < 150:
            rates.append(1 / drawn_run_length(months, drawn, sigmas=2.0))
    assert np.mean(rates) == pytest.approx(n_calls / (600 * LATER), rel=0.15)


def test_count_call_rate_equals_the_beta_binomial_of_a_library():
    rate = count_call_rate(
        np.array([40.0]), np.array([0.05]), np.array([0.3]), centre=0.1, n_baseline=200
    )
    law = stats.betabinom(40, 20.1, 180.9)
    assert rate == pytest.approx(law.cdf(1) + law.sf(12))


def test_between_call_rate_is_the_geometric_one_where_the_share_is_known():
    """P(K > 30) + P(K < 2) of a geometric law with share 0.1: 0.9^31 + 1 - 0.9^2."""
    found = between_call_rate(2, 30, events=1e6, others=9e6)
    assert found == pytest.approx(0.9**31 + 1 - 0.9**2, rel=1e-4)


def test_run_rules_shorten_the_run_as_published():
    """Champ and Woodall 1987: rules 1 and 4 together run 152.73 where all is known."""
    rng = np.random.default_rng(2)
    long = series(
        Quantity.MEAN, 25, 25 * rng.normal(size=4000), np.full(4000, 700.0), n_baseline=3990
    )
    drawn = draw_series(long, "individuals")
    plain = drawn_run_length(long, drawn, sigmas=3.0)
    both = drawn_run_length(long, drawn, sigmas=3.0, rules=["western-electric-4"])
    assert plain == pytest.approx(370.4, rel=0.02)
    assert both == pytest.approx(152.73, rel=0.02)


def test_run_length_without_a_baseline_is_not_known():
    months = shares([2] * 6, 40, n_baseline=0)
    assert np.isnan(drawn_run_length(months, draw_series(months, "p"), sigmas=3.0))


@pytest.mark.parametrize("centre", [0.0, 1.0])
def test_count_call_rate_of_a_baseline_without_events_is_hardly_any(centre):
    n = np.array([20.0, 30.0])
    rate = count_call_rate(n, n * 0 - 0.1, n * 0 + 1.1, centre=centre, n_baseline=100.0)
    assert rate == pytest.approx(0.0, abs=1e-6)


def test_count_call_rate_leaves_months_without_exams_out():
    limits = {"centre": 0.05, "n_baseline": 400.0}
    one = count_call_rate(np.array([40.0]), np.zeros(1), np.array([0.15]), **limits)
    two = count_call_rate(np.array([40.0, 0.0]), np.zeros(2), np.array([0.15, 0.15]), **limits)
    assert two == pytest.approx(one)
