"""Months until an operator's rising share of unreliable exams is on the list.

Simulated, seed stated: 30 exams a month, 5 → 10 % and 5 → 15 %, in networks of 45 operators at 12
sites of whom nine change six months after the baseline; an eighth of the budget, as one of eight
measures has. The other operators differ (beta, strength 100). Yardsticks (tests/benchmarks/
_yardsticks.py) are set to open falsely as often as the list itself does for steady operators:
- the optimum where the share before has to be estimated from the same twelve months and the same
  peers: a detector made for exactly this shift that weighs every share it may have been;
- the optimum where it is known for certain, beside the list with baselines of five years;
- the plain p-chart of three sigma with the four rules of 1956, its centre from the same twelve
  months, its limits widened.
Whoever is called in the six months before is left out, for each chart. Months are counted as a
quantity of time: quantiles are interpolated within months.
"""

import numpy as np
import polars as pl

from qa.model.months import add_months, months_between
from tests.benchmarks import BenchmarkFigure
from tests.benchmarks._yardsticks import Yardsticks
from tests.many_networks import Change, NetworkShape, simulate_networks
from tests.simulated import FIRST_MONTH, draw_charts

SEED, EXAMS, BEFORE, STRENGTH = 20272, 30, 0.05, 100.0
CALM, HORIZON, WATCHED = 6, 48, 36
N_NETWORKS, N_DRIFTING = 120, 9
SHAPE = NetworkShape(12, 45, (BEFORE,), exams=EXAMS, strength=STRENGTH, budget=1 / 8)


def run() -> list[BenchmarkFigure]:
    rng = np.random.default_rng(SEED)
    figures = []
    rates = {months: _false_rate(rng, months) for months in (12, 60)}
    short, long = (
        Yardsticks(rng, exams=EXAMS, before=BEFORE, strength=STRENGTH, rate=rate, calm=CALM)
        for rate in rates.values()
    )
    for after in (0.10, 0.15):
        ours, five_years = (_months_of_list(rng, after, months) for months in (12, 60))
        best, plain = short.estimated(after), short.plain_chart(after)
        certain, certain_long = short.known(after), long.known(after)
        for name, q in (("median", 0.5), ("p90", 0.9)):
            found, least, other, sure, later, sure_later = (
                quantile(one, q) for one in (ours, best, plain, certain, five_years, certain_long)
            )
            shift = f"{name}_months_5_to_{after * 100:.0f}_percent"
            figures += [
                BenchmarkFigure(
                    f"{shift}_over_optimum",
                    found / least,
                    1.25,
                    f"{found:.1f} months; optimum with the same twelve months {least:.1f}; with "
                    f"the share known for certain {sure:.1f}; false items {rates[12]:.5f} a month",
                ),
                BenchmarkFigure(
                    f"{shift}_over_optimum_known_baseline_of_five_years",
                    later / sure_later,
                    1.25,
                    f"{later:.1f} months; optimum with the share known for certain "
                    f"{sure_later:.1f}; false items {rates[60]:.5f} a month",
                ),
                BenchmarkFigure(
                    f"{shift}_plain_chart_over_ours",
                    other / found,
                    1.0,
                    f"p-chart with the rules of 1956 at equal false alarms: {other:.1f} months",
                    is_upper_bound=False,
                ),
            ]
    return figures


def quantile(months: np.ndarray, q: float) -> float:
    """Quantile with each month spread evenly over itself."""
    ordered = np.sort(months)
    at = float(ordered[int(np.ceil(q * len(ordered))) - 1])
    below, inside = (months < at).mean(), (months == at).mean()
    return at - 1 + float((q - below) / inside)


def _calls(values: pl.DataFrame, baseline_months: int) -> pl.DataFrame:
    """Months in which an operator's chart asks for a look, so that it is on the list."""
    points = draw_charts(
        values,
        SHAPE.measures(N_NETWORKS),
        settings=SHAPE.settings(N_NETWORKS, baseline_months=baseline_months),
    )
    return points.filter(unit_kind="operator", state="look").select("unit_id", "month")


def _false_rate(rng: np.random.Generator, baseline_months: int) -> float:
    """Items that a steady operator's chart opens in a month; two months apart are one item."""
    n_months = baseline_months + WATCHED
    values = simulate_networks(rng, SHAPE, n_networks=N_NETWORKS, n_months=n_months)
    calls = _calls(values, baseline_months).sort("unit_id", "month")
    number = pl.col("month").dt.year().cast(pl.Int32) * 12 + pl.col("month").dt.month()
    gap = (number - number.shift()).over("unit_id")
    items = calls.filter(gap.is_null() | (gap > 2)).height
    return items / (N_NETWORKS * SHAPE.n_operators * WATCHED)


def _months_of_list(rng: np.random.Generator, after: float, baseline_months: int) -> np.ndarray:
    start = baseline_months + CALM
    values = simulate_networks(
        rng,
        SHAPE,
        n_networks=N_NETWORKS,
        n_months=start + HORIZON,
        change=Change(N_DRIFTING, after - BEFORE, start),
    )
    first = dict(
        _calls(values, baseline_months).group_by("unit_id").agg(pl.col("month").min()).iter_rows()
    )
    months = []
    for network in range(N_NETWORKS):
        for number in range(N_DRIFTING):
            month = first.get(f"operator-{network * SHAPE.n_operators + number:05d}")
            if month is None:
                months.append(HORIZON + 1)
            elif month >= add_months(FIRST_MONTH, start):
                months.append(months_between(FIRST_MONTH, month) - start + 1)
    return np.array(months, dtype=float)
