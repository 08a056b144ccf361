"""Items that a stable network's list opens by chance alone, against the budget it was given.

Simulated, seeds stated: binomial counts around shares that differ between operators (beta, strength
100, which is a standard deviation of 2.2 points at 5 %) and never change. Twelve months of
baseline, then 36 watched months for each network; eight measures, 37 exams of an operator a month
(Poisson); charts and funnels of sites and operators and the charts of the whole network. Many
networks go through the product's own functions at once (tests/many_networks.py).
"""

import time
from dataclasses import dataclass

import numpy as np

from qa.model.definitions import Settings
from tests.benchmarks import BenchmarkFigure
from tests.many_networks import NetworkShape, false_items
from tests.simulated import BASELINE_MONTHS, RATES

SEED, WATCHED_MONTHS = 20271, 36
MOST_SERIES = 60_000


@dataclass(frozen=True)
class Simulated:
    """Networks of one shape, and how many years of them."""

    years: int
    shape: NetworkShape
    baseline_months: int = BASELINE_MONTHS


# The two that were promised, and others that the parts of the budget were not set by.
NETWORKS = {
    "12_sites": Simulated(1000, NetworkShape(12, 45, RATES)),
    "200_sites": Simulated(100, NetworkShape(200, 800, RATES)),
    "15_exams_a_month": Simulated(96, NetworkShape(12, 45, RATES, exams=15)),
    "90_exams_a_month": Simulated(96, NetworkShape(12, 45, RATES, exams=90)),
    "operators_alike": Simulated(96, NetworkShape(12, 45, RATES, strength=400)),
    "baseline_of_two_years": Simulated(96, NetworkShape(12, 45, RATES), baseline_months=24),
}


def run() -> list[BenchmarkFigure]:
    figures = []
    for name, one in NETWORKS.items():
        start = time.process_time()
        a_month = _items_a_month(one, -(-one.years * 12 // WATCHED_MONTHS))
        budget = Settings().false_items_per_month
        mean, error = float(a_month.mean()), float(a_month.std() / len(a_month) ** 0.5)
        note = (
            f"budget {budget}; {len(a_month)} networks of 3 years, seed {SEED}: {mean:.3f} ± "
            f"{error:.3f} a month; {time.process_time() - start:.0f} s of processor"
        )
        over = f"false_items_over_budget_{name}"
        figures += [
            BenchmarkFigure(over, mean / budget, 1.2, note),
            BenchmarkFigure(f"{over}_least", mean / budget, 0.8, note, is_upper_bound=False),
        ]
    return figures


def _items_a_month(one: Simulated, n_networks: int) -> np.ndarray:
    rng, shape = np.random.default_rng(SEED), one.shape
    series = (shape.n_sites + shape.n_operators + 1) * len(shape.rates)
    at_once = max(1, MOST_SERIES // series)
    parts = []
    for first in range(0, n_networks, at_once):
        parts.append(
            false_items(
                rng,
                shape,
                n_networks=min(at_once, n_networks - first),
                baseline_months=one.baseline_months,
                watched_months=WATCHED_MONTHS,
            )
        )
    return np.concatenate(parts) / WATCHED_MONTHS
