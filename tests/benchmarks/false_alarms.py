"""Items that a stable network's list opens by chance alone, against the budget it was given.

Simulated, seed stated: binomial counts around shares that differ between operators (beta, strength
100, which is a standard deviation of 2.2 points at 5 %) and never change. Twelve months of
baseline, then 36 watched months for each network; eight measures, 37 exams a month.
"""

import numpy as np

from qa.model.definitions import Settings
from tests.benchmarks import BenchmarkFigure
from tests.simulated import BASELINE_MONTHS, MEASURES, RATES, list_signals, new_items
from tests.simulated import simulate_network as simulate

SEED, WATCHED_MONTHS = 20271, 36
NETWORKS = {"12_sites": (12, 45, 1000), "200_sites": (200, 800, 100)}


def run() -> list[BenchmarkFigure]:
    figures = []
    for name, (n_sites, n_operators, years) in NETWORKS.items():
        rng = np.random.default_rng(SEED)
        n_networks = -(-years * 12 // WATCHED_MONTHS)
        a_month = [_items_a_month(rng, n_sites, n_operators) for _ in range(n_networks)]
        budget = Settings().false_items_per_month
        mean, error = float(np.mean(a_month)), float(np.std(a_month) / np.sqrt(n_networks))
        note = (
            f"budget {budget}; {n_networks} networks of 3 years; {mean:.3f} ± {error:.3f} a month"
        )
        figures += [
            BenchmarkFigure(f"false_items_over_budget_{name}", mean / budget, 1.2, note),
            BenchmarkFigure(
                f"false_items_over_budget_{name}_least",
                mean / budget,
                0.8,
                note,
                is_upper_bound=False,
            ),
        ]
    return figures


def _items_a_month(rng: np.random.Generator, n_sites: int, n_operators: int) -> float:
    values = simulate(
        rng,
        RATES,
        exams=37,
        n_months=BASELINE_MONTHS + WATCHED_MONTHS,
        n_sites=n_sites,
        n_operators=n_operators,
        strength=100,
    )
    return new_items(list_signals(values, MEASURES)).height / WATCHED_MONTHS
