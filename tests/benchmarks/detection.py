"""Months until an operator's rising share of unreliable exams is on the list.

Simulated, seed stated: 30 exams a month, 5 → 10 % and 5 → 15 %, in a network of 45 operators at
12 sites of whom nine change six months after the baseline; an eighth of the budget, as one of
eight measures has. The other operators differ (beta, strength 100). Yardsticks, at
the same false alarms for each chart:
- the optimum: a CUSUM made for exactly this shift, whose share before is known for certain. No
  chart with a baseline of twelve months can reach it, since limits have to be higher where the
  share is known from some 360 exams; beside it stands the list with baselines of five years;
- the plain p-chart of three sigma with the four rules of 1956, its centre from the same twelve
  months, its limits widened until it calls falsely as seldom.
Months are counted as a quantity of time: quantiles are interpolated within months.
"""

import numpy as np
import polars as pl

from qa.charts.budget import MOST_PER_SERIES
from qa.model.definitions import Settings
from qa.model.months import add_months, months_between
from qa.stats.drift_cusum import month_scores
from qa.stats.run_rules import WESTERN_ELECTRIC
from tests.benchmarks import BenchmarkFigure
from tests.simulated import FIRST_MONTH, MEASURES, list_signals, simulate_network

SEED, EXAMS, BEFORE, STRENGTH = 20272, 30, 0.05, 100.0
CALM, HORIZON = 6, 48
N_NETWORKS, N_DRIFTING, N_SERIES = 30, 9, 20_000
RATE = min(Settings().false_items_per_month / (8 * 57), MOST_PER_SERIES)


def run() -> list[BenchmarkFigure]:
    rng = np.random.default_rng(SEED)
    figures = []
    plain_width = _plain_width(rng)
    for after in (0.10, 0.15):
        ours = _months_of_list(rng, after, baseline_months=12)
        known = _months_of_list(rng, after, baseline_months=60)
        best = _months_of_optimum(rng, after)
        plain = _months_of_plain_chart(rng, after, plain_width)
        for name, q in (("median", 0.5), ("p90", 0.9)):
            found, long, least, other = (_quantile(one, q) for one in (ours, known, best, plain))
            shift = f"{name}_months_5_to_{after * 100:.0f}_percent"
            optimum = f"optimum, share known for certain: {least:.1f}"
            figures += [
                BenchmarkFigure(
                    f"{shift}_over_optimum", found / least, 1.25, f"{found:.1f} months; {optimum}"
                ),
                BenchmarkFigure(
                    f"{shift}_over_optimum_baseline_of_five_years",
                    long / least,
                    1.25,
                    f"{long:.1f} months; {optimum}",
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


def _quantile(months: np.ndarray, q: float) -> float:
    """Quantile with each month spread evenly over itself."""
    ordered = np.sort(months)
    at = float(ordered[int(np.ceil(q * len(ordered))) - 1])
    below, inside = (months < at).mean(), (months == at).mean()
    return at - 1 + float((q - below) / inside)


def _months_of_list(rng: np.random.Generator, after: float, *, baseline_months: int) -> np.ndarray:
    months, start = [], baseline_months + CALM
    settings = Settings(false_items_per_month=1 / 8, baseline_months=baseline_months)
    for _ in range(N_NETWORKS):
        drifting = rng.choice(45, N_DRIFTING, replace=False)
        values = simulate_network(
            rng,
            (BEFORE,),
            exams=EXAMS,
            n_months=start + HORIZON,
            drifting=drifting,
            drift=after - BEFORE,
            from_month=start,
            strength=STRENGTH,
        )
        signals = list_signals(values, MEASURES[:1], settings=settings, has_funnels=False)
        first = dict(
            signals.filter(
                (pl.col("unit_kind") == "operator")
                & (pl.col("month") >= add_months(FIRST_MONTH, start))
            )
            .group_by("unit_id")
            .agg(pl.col("month").min())
            .iter_rows()
        )
        for number in drifting:
            month = first.get(f"operator-{number}")
            months.append(months_between(FIRST_MONTH, month) - start + 1 if month else HORIZON + 1)
    return np.array(months, dtype=float)


def _counts(
    rng: np.random.Generator, share: float | np.ndarray, n_months: int
) -> tuple[np.ndarray, np.ndarray]:
    n = np.maximum(rng.poisson(EXAMS, (n_months, N_SERIES)), 1)
    return rng.binomial(n, share), n


def _months_of_optimum(rng: np.random.Generator, after: float) -> np.ndarray:
    ratio = after / (1 - after) / (BEFORE / (1 - BEFORE))

    def scores(share: float, n_months: int) -> np.ndarray:
        events, n = _counts(rng, share, n_months)
        return month_scores(events, n, share=BEFORE, odds_ratio=ratio)

    still = scores(BEFORE, 240)
    low, high = 1.0, 10.0
    for _ in range(14):
        limit = (low + high) / 2
        sums, calls = np.zeros(N_SERIES), 0
        for score in still:
            sums = np.maximum(sums + score, 0.0)
            is_over = sums >= limit
            calls += int(is_over.sum())
            sums[is_over] = 0.0
        low, high = (limit, high) if calls / still.size > RATE else (low, limit)
    sums = np.zeros(N_SERIES)
    for score in scores(BEFORE, CALM):
        sums = np.maximum(sums + score, 0.0)
        sums[sums >= high] = 0.0
    months = np.full(N_SERIES, HORIZON + 1.0)
    for month, score in enumerate(scores(after, HORIZON), start=1):
        sums = np.maximum(sums + score, 0.0)
        months = np.where((sums >= high) & (months > HORIZON), month, months)
    return months


def _baseline_centre(rng: np.random.Generator, share: float | np.ndarray) -> np.ndarray:
    """Share over twelve months, half an event added so that it is never 0."""
    events, n = _counts(rng, share, 12)
    return (events.sum(axis=0) + 0.5) / (n.sum(axis=0) + 1)


def _plain_calls(events: np.ndarray, n: np.ndarray, centre: np.ndarray, width: float) -> np.ndarray:
    """Where the four rules of 1956 call upwards, with sigma drawn `width` times as wide."""
    z = (events / n - centre) / np.sqrt(centre * (1 - centre) / n) / width
    flat = z.T.ravel()
    segments = np.repeat(np.arange(z.shape[1]), z.shape[0])
    calls = np.zeros(z.size, dtype=bool)
    for rule in WESTERN_ELECTRIC:
        calls |= rule.finds(np.maximum(flat, -1e-9), segments) & (flat > 0)
    return calls.reshape(z.shape[1], z.shape[0]).T


def _plain_width(rng: np.random.Generator) -> float:
    """Width at which new calls come as seldom as the budget allows, among operators that differ."""
    true = rng.beta(BEFORE * STRENGTH, (1 - BEFORE) * STRENGTH, N_SERIES)
    centre = _baseline_centre(rng, true)
    events, n = _counts(rng, true, 36)
    low, high = 1.0, 6.0
    for _ in range(12):
        width = (low + high) / 2
        calls = _plain_calls(events, n, centre, width)
        new = calls & ~np.vstack([np.zeros((1, N_SERIES), dtype=bool), calls[:-1]])
        low, high = (width, high) if new.mean() > RATE else (low, width)
    return high


def _months_of_plain_chart(rng: np.random.Generator, after: float, width: float) -> np.ndarray:
    centre = _baseline_centre(rng, BEFORE)
    before, later = _counts(rng, BEFORE, CALM), _counts(rng, after, HORIZON)
    events, n = (np.vstack(pair) for pair in zip(before, later, strict=True))
    calls = _plain_calls(events, n, centre, width)[CALM:]
    return np.where(calls.any(axis=0), calls.argmax(axis=0) + 1.0, HORIZON + 1.0)
