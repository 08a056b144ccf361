"""Draw one series as any of the monthly charts: value, centre line and limits of each month."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qa.charts.choose import z_of_months
from qa.charts.kinds import CHART_KINDS, ChartKind, Quantity
from qa.charts.months_of import SeriesMonths
from qa.stats.constants import c4_of
from qa.stats.count_limits import c_chart_limits, np_chart_limits, u_chart_limits
from qa.stats.cusum import score_cusum
from qa.stats.ewma import ewma, ewma_variance
from qa.stats.individuals import individuals_limits, mean_moving_range
from qa.stats.laney import p_prime_limits, sigma_z, u_prime_limits
from qa.stats.limits import binomial_limits, p_chart_limits
from qa.stats.means import pooled_sd, s_limits, xbar_s_limits

Floats = NDArray[np.float64]
Lines = tuple[Floats, Floats, Floats, Floats]

# Newest month's part of the EWMA, and its limits: 500 months to a false call (1990, table 3).
EWMA_WEIGHT, EWMA_WIDTH = 0.2, 2.962

# The CUSUM asks for odds this many times as high, or as low.
CUSUM_ODDS_RATIO = 2.0

MIN_EXPECTED = 5


@dataclass(frozen=True)
class DrawnSeries:
    """Arrays to draw, one element for each month of the series; nan where there is nothing.

    Args:
        kind: how it is drawn.
        second: the downward sum of a CUSUM, 0 or below; nan elsewhere.
        is_outside: a point beyond a limit, strictly.
    """

    kind: ChartKind
    value: Floats
    second: Floats
    centre: Floats
    lcl: Floats
    ucl: Floats
    is_outside: NDArray[np.bool_]


def draw_series(
    series: SeriesMonths,
    kind: str,
    *,
    sigmas: float = 3.0,
    cusum_limits: tuple[float, float] = (np.nan, np.nan),
) -> DrawnSeries:
    """Draw a series as the kind asked for.

    Args:
        series: months of one series.
        kind: code of a monthly kind of CHART_KINDS that fits the series' quantity.
        sigmas: width of Shewhart limits.
        cusum_limits: decision limits upwards and downwards; nan where none are known.
    Returns: DrawnSeries; centre and limits are nan without a baseline.
    Raises: KeyError for a kind that is no monthly chart of this quantity (callers check first).
    """
    drawn = _DRAWERS[kind, series.quantity]
    second = np.full(len(series.n), np.nan)
    if kind == "cusum":
        value, second, centre, lcl, ucl = _draw_cusum(series, cusum_limits)
    else:
        value, centre, lcl, ucl = drawn(series, sigmas)
    with np.errstate(invalid="ignore"):
        is_outside = (value > ucl) | (value < lcl) | (second < lcl)
    return DrawnSeries(CHART_KINDS[kind], value, second, centre, lcl, ucl, is_outside)


def is_monthly(kind: str, quantity: Quantity) -> bool:
    """True where draw_series can draw it; g and t need the exams themselves."""
    return (kind, quantity) in _DRAWERS


def _flat(series: SeriesMonths, number: float) -> Floats:
    return np.full(len(series.n), number)


def _draw_p(series: SeriesMonths, sigmas: float) -> Lines:
    centre, n = series.centre, series.n
    lcl, ucl = p_chart_limits(centre, n, sigmas=sigmas)
    is_small = (n * centre < MIN_EXPECTED) | (n * (1 - centre) < MIN_EXPECTED)
    exact = binomial_limits(centre, n)
    return (
        series.value,
        _flat(series, centre),
        np.where(is_small, exact[0], lcl),
        np.where(is_small, exact[1], ucl),
    )


def _widening(series: SeriesMonths) -> float:
    """sigma_z of the baseline, at least 1; 1 where it is not known."""
    if not series.is_baseline.any():
        return 1.0
    found = sigma_z(z_of_months(series, series.is_baseline))
    return max(1.0, found) if np.isfinite(found) else 1.0


def _draw_p_prime(series: SeriesMonths, sigmas: float) -> Lines:
    widening = _widening(series)
    limits = p_prime_limits(series.centre, series.n, sigma_z=widening, sigmas=sigmas)
    return series.value, _flat(series, series.centre), *limits


def _draw_np(series: SeriesMonths, sigmas: float) -> Lines:
    limits = np_chart_limits(series.centre, series.n, sigmas=sigmas)
    return series.total, series.centre * series.n, *limits


def _draw_u(series: SeriesMonths, sigmas: float) -> Lines:
    limits = u_chart_limits(series.centre, series.n, sigmas=sigmas)
    return series.value, _flat(series, series.centre), *limits


def _draw_u_prime(series: SeriesMonths, sigmas: float) -> Lines:
    widening = _widening(series)
    limits = u_prime_limits(series.centre, series.n, sigma_z=widening, sigmas=sigmas)
    return series.value, _flat(series, series.centre), *limits


def _draw_c(series: SeriesMonths, sigmas: float) -> Lines:
    base = series.total[series.is_baseline]
    centre = float(base.mean()) if len(base) else np.nan
    lcl, ucl = c_chart_limits(_flat(series, centre), sigmas=sigmas)
    return series.total, _flat(series, centre), lcl, ucl


def _draw_xbar(series: SeriesMonths, sigmas: float) -> Lines:
    within = pooled_sd(series.spread[series.is_baseline], series.n[series.is_baseline])
    limits = xbar_s_limits(series.centre, within, series.n, sigmas=sigmas)
    return series.value, _flat(series, series.centre), *limits


def _draw_s(series: SeriesMonths, sigmas: float) -> Lines:
    within = pooled_sd(series.spread[series.is_baseline], series.n[series.is_baseline])
    lcl, ucl = s_limits(within * c4_of(series.n), series.n, sigmas=sigmas)
    return series.spread, within * c4_of(series.n), lcl, ucl


def _draw_individuals(series: SeriesMonths, sigmas: float) -> Lines:
    base = series.value[series.is_baseline]
    centre = float(base.mean()) if len(base) else np.nan
    lcl, ucl = individuals_limits(centre, mean_moving_range(base), sigmas=sigmas)
    return series.value, _flat(series, centre), _flat(series, lcl), _flat(series, ucl)


def _draw_ewma(series: SeriesMonths, sigmas: float) -> Lines:
    """Limits keep their own width, which sets the run length, whatever `sigmas` is."""
    centre, n = series.centre, series.n
    if series.quantity == Quantity.SHARE:
        unit = centre * (1 - centre)
    elif series.quantity == Quantity.RATE:
        unit = centre
    else:
        base = series.is_baseline
        unit = pooled_sd(series.spread[base], n[base]) ** 2
    average = ewma(series.value, weight=EWMA_WEIGHT, start=centre)
    half = EWMA_WIDTH * np.sqrt(ewma_variance(unit / n, weight=EWMA_WEIGHT))
    lowest, highest = {
        Quantity.SHARE: (0.0, 1.0),
        Quantity.RATE: (0.0, np.inf),
        Quantity.MEAN: (-np.inf, np.inf),
    }[series.quantity]
    lcl, ucl = np.maximum(centre - half, lowest), np.minimum(centre + half, highest)
    return average, _flat(series, centre), lcl, ucl


def _draw_cusum(
    series: SeriesMonths, limits: tuple[float, float]
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Sums over the months after the baseline, upwards and, mirrored, downwards."""
    centre, later = series.centre, ~series.is_baseline
    sums = []
    for ratio in (CUSUM_ODDS_RATIO, 1 / CUSUM_ODDS_RATIO):
        scores = share_scores(series.total, series.n, centre=centre, odds_ratio=ratio)
        sums.append(np.where(later, score_cusum(np.where(later, scores, np.nan)), np.nan))
    up, down = limits
    return sums[0], -sums[1], _flat(series, 0.0), _flat(series, -down), _flat(series, up)


def share_scores(events: Floats, n: Floats, *, centre: float, odds_ratio: float) -> Floats:
    """Log likelihood ratio of each month for odds `odds_ratio` times those of the centre."""
    return np.asarray(events * np.log(odds_ratio) - n * np.log(1 - centre + odds_ratio * centre))


_DRAWERS: dict[tuple[str, Quantity], Callable[[SeriesMonths, float], Lines]] = {
    ("p", Quantity.SHARE): _draw_p,
    ("p-prime", Quantity.SHARE): _draw_p_prime,
    ("np", Quantity.SHARE): _draw_np,
    ("ewma", Quantity.SHARE): _draw_ewma,
    ("cusum", Quantity.SHARE): _draw_ewma,
    ("u", Quantity.RATE): _draw_u,
    ("u-prime", Quantity.RATE): _draw_u_prime,
    ("c", Quantity.RATE): _draw_c,
    ("individuals", Quantity.RATE): _draw_individuals,
    ("ewma", Quantity.RATE): _draw_ewma,
    ("xbar", Quantity.MEAN): _draw_xbar,
    ("s", Quantity.MEAN): _draw_s,
    ("individuals", Quantity.MEAN): _draw_individuals,
    ("ewma", Quantity.MEAN): _draw_ewma,
}
