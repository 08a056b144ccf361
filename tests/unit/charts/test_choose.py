"""Which chart is chosen, and why. Thresholds are those that choose.py states."""

from datetime import date

import numpy as np
import pytest

from qa.charts.choose import choose_chart
from qa.charts.kinds import CHART_KINDS, Quantity
from qa.charts.months_of import SeriesMonths
from qa.model.months import add_months
from tests.reference.cases import data

SPREAD = [1, -1, 1, -1, 1, -1, 1, -1, 1, -1, 1, -1]


def series(quantity, n, total, squares=None, *, n_baseline=None):
    n, total = np.asarray(n, dtype=float), np.asarray(total, dtype=float)
    size = len(total)
    n = np.broadcast_to(n, (size,))
    is_baseline = np.arange(size) < (size if n_baseline is None else n_baseline)
    months = tuple(add_months(date(2025, 1, 1), number) for number in range(size))
    squares = np.zeros(size) if squares is None else np.asarray(squares, dtype=float)
    return SeriesMonths(quantity, months, n, total, squares, is_baseline)


def shares(events, n=100, **more):
    return series(Quantity.SHARE, n, events, **more)


@pytest.mark.parametrize(
    ("events", "n", "kind", "says"),
    [
        ([0, 1] * 6, 30, "g", "too few for a share"),
        ([1] * 12, 30, "p", "exact binomial"),
        ([4, 5] * 6, 100, "p", "exact binomial"),
        ([10 + one for one in SPREAD], 100, "p", "no more than chance"),
        ([10 + 7 * one for one in SPREAD], 100, "p-prime", "times as much as binomial"),
        ([90 + 7 * one for one in SPREAD], 100, "p-prime", "times as much as binomial"),
        ([10 + 7 * one for one in SPREAD[:11]], 100, "p", "no more than chance"),
        ([0] * 12, 100, "g", "Hardly any"),
    ],
)
def test_shares_are_drawn_by_events_expected_and_spread(events, n, kind, says):
    chosen = choose_chart(shares(events, n))
    assert chosen.kind.code == kind
    assert says in chosen.reason
    assert chosen.kind not in chosen.others
    assert all(Quantity.SHARE in one.quantities for one in chosen.others)


@pytest.mark.parametrize(("step", "kind"), [(0, "individuals"), (11, "u"), (30, "u-prime")])
def test_rates_are_drawn_by_how_they_differ_from_poisson_chance(step, kind):
    """100 counts a month have a standard error of 10: sigma_z is step / 10 / 1.128."""
    counts = [100 + step / 2 * one for one in SPREAD]
    assert choose_chart(series(Quantity.RATE, 10, counts)).kind.code == kind


@pytest.mark.parametrize(("step", "kind"), [(0.0, "xbar"), (1.0, "individuals")])
def test_means_are_drawn_by_how_they_wander(step, kind):
    means = np.array([step * one for one in SPREAD])
    squares = 24 * 1.0 + 25 * means**2
    chosen = choose_chart(series(Quantity.MEAN, 25, 25 * means, squares))
    assert chosen.kind.code == kind


def test_the_emergency_departments_get_a_p_prime_chart():
    """Laney's kind of data: sigma_z 10.64 (exact d2: 10.637), reference collection."""
    seen, n = data("laney_p_prime_emergency_4h", "seen_within_4h", "attendances")
    chosen = choose_chart(shares(seen, n))
    assert chosen.kind.code == "p-prime"
    assert chosen.sigma_z == pytest.approx(10.6368463829)


def test_a_short_or_missing_baseline_is_said():
    events = [10 + one for one in SPREAD]
    assert choose_chart(shares(events)).warning == ""
    assert "11 months" in choose_chart(shares(events, n_baseline=11)).warning
    assert "No baseline yet" in choose_chart(shares(events, n_baseline=0)).warning


def test_no_months_at_all_give_a_chart_and_a_word():
    for quantity in Quantity:
        chosen = choose_chart(series(quantity, [], []))
        assert chosen.kind.code in CHART_KINDS
        assert chosen.warning
