"""All charts of 1,000 sites and 5,000 operators × 60 months × 8 measures in one job.

Baseline: the same charts drawn series by series with pandas (p-chart limits, exact binomial ones
at small n, three- and six-month sums, eight in a row, evidence summed month by month), 240 series
timed and multiplied. The fit of expected shares is measured against statsmodels on rows. Times are
processor seconds of this process; data are simulated, seed stated.
"""

import time
from datetime import UTC, datetime

import numpy as np
import pandas as pd
import scipy.stats
import statsmodels.api as sm

from qa.charts.baseline import freeze_baselines
from qa.charts.control import chart_points
from qa.model.definitions import Settings
from qa.model.schemas import BASELINES
from qa.stats.logistic import fit_logistic
from tests.benchmarks import BenchmarkFigure
from tests.simulated import MEASURES, RATES, simulate_network

SEED, MONTHS, BASELINE = 20273, 60, 12
SAMPLE = 240
N_EXAMS = 1_000_000
LEVELS = (4, 4, 2, 3, 3, 5, 2)


def run() -> list[BenchmarkFigure]:
    ours, n_series, points = _charts(1000, 5000)
    half, half_series, _ = _charts(500, 2500)
    loop = _pandas_loop(points) / SAMPLE * n_series
    cells, rows, gap = _fits()
    return [
        BenchmarkFigure(
            "charts_over_pandas_loop",
            ours / loop,
            0.01,
            f"{n_series:,} series: {ours:.1f} s; pandas loop {loop:.0f} s ({SAMPLE} timed)",
        ),
        BenchmarkFigure(
            "charts_seconds_a_series_over_half_the_network",
            (ours / n_series) / (half / half_series),
            1.25,
            "the same job on half the sites and operators; 1 is linear",
        ),
        BenchmarkFigure(
            "logistic_fit_over_statsmodels_on_rows",
            cells / rows,
            1 / 40,
            f"{N_EXAMS:,} exams, collapsing included: {cells:.2f} s; statsmodels {rows:.1f} s",
        ),
        BenchmarkFigure(
            "logistic_coefficients_apart", gap, 1e-9, "largest difference to statsmodels on rows"
        ),
    ]


def _charts(n_sites: int, n_operators: int) -> tuple[float, int, pd.DataFrame]:
    """Seconds of all charts, the number of series, and some of them for the other way."""
    rng = np.random.default_rng(SEED)
    values = simulate_network(
        rng,
        RATES,
        exams=33,
        n_months=MONTHS,
        n_sites=n_sites,
        n_operators=n_operators,
        strength=100,
    )
    baselines = freeze_baselines(
        values,
        existing=BASELINES.empty(),
        measures=MEASURES,
        settings=Settings(),
        set_at=datetime(2027, 1, 1, tzinfo=UTC),
        set_by="simulation",
    )
    start = time.process_time()
    points = chart_points(values, baselines=baselines, measures=MEASURES, settings=Settings())
    seconds = time.process_time() - start
    key = ["unit_kind", "unit_id", "measure_id"]
    sample = points.select(*key, "month", "n_events", "n").to_pandas()
    chosen = sample[key].drop_duplicates().sample(SAMPLE, random_state=SEED)
    n_series = points.select(key).n_unique()
    return seconds, n_series, sample.merge(chosen, on=key)


def _pandas_loop(points: pd.DataFrame) -> float:
    start = time.process_time()
    for _, one in points.groupby(["unit_kind", "unit_id", "measure_id"]):
        _one_series(one.sort_values("month"))
    return time.process_time() - start


def _one_series(one: pd.DataFrame) -> pd.DataFrame:
    base, one = one.head(BASELINE), one.copy()
    centre = base["n_events"].sum() / base["n"].sum()
    share = (base["n_events"].sum() + 0.5) / (base["n"].sum() + 1)
    one["value"] = one["n_events"] / one["n"]
    half = 3 * np.sqrt(centre * (1 - centre) / one["n"])
    is_small = (one["n"] * centre < 5) | (one["n"] * (1 - centre) < 5)
    exact = scipy.stats.binom.isf(0.00135, one["n"], centre) / one["n"]
    one["ucl"] = np.where(is_small, exact, centre + half)
    one["outside"] = one["value"] > one["ucl"]
    for months in (3, 6):
        sums = one[["n_events", "n"]].rolling(months).sum().fillna(0)
        a, b = base["n_events"].sum() + 0.5, (base["n"] - base["n_events"]).sum() + 0.5
        tail = scipy.stats.betabinom.sf(sums["n_events"] - 1, sums["n"], a, b)
        one[f"last_{months}"] = tail <= 0.0025
    one["eight"] = (one["value"] > centre).rolling(8).sum() == 8
    score = one["n_events"] * np.log(2) - one["n"] * np.log(1 + share)
    total, sums = 0.0, []
    for value in score:
        total = max(0.0, total + value)
        sums.append(total)
    one["evidence"] = sums
    return one


def _fits() -> tuple[float, float, float]:
    """Seconds of the fit on cells, of statsmodels on rows, and how far coefficients differ."""
    rng = np.random.default_rng(SEED)
    levels = np.column_stack([rng.integers(0, n, N_EXAMS) for n in LEVELS])
    effects = [np.concatenate([[0.0], rng.normal(0, 0.4, n - 1)]) for n in LEVELS]
    eta = -2.8 + sum(effect[levels[:, place]] for place, effect in enumerate(effects))
    y = (rng.random(N_EXAMS) < 1 / (1 + np.exp(-eta))).astype(np.float64)
    start = time.process_time()
    code = np.ravel_multi_index(tuple(levels.T), LEVELS)
    n = np.bincount(code, minlength=int(np.prod(LEVELS)))
    events = np.bincount(code, weights=y, minlength=len(n))
    known = np.flatnonzero(n)
    cells = np.column_stack(np.unravel_index(known, LEVELS))
    fit = fit_logistic(_design(cells), events[known], n[known])
    ours = time.process_time() - start
    start = time.process_time()
    other = sm.GLM(y, _design(levels), family=sm.families.Binomial()).fit(tol=1e-12)
    theirs = time.process_time() - start
    return ours, theirs, float(np.abs(fit.coefficients - other.params).max())


def _design(levels: np.ndarray) -> np.ndarray:
    """A column of ones and one for each level but the first of each covariate."""
    parts = [np.ones(len(levels))]
    for place, n in enumerate(LEVELS):
        parts += [(levels[:, place] == level).astype(np.float64) for level in range(1, n)]
    return np.column_stack(parts)
