"""Draw one series as any of the monthly charts: value, centre line and limits of each month."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qa.charts.choose import z_of_months
from qa.charts.draw_cusum import draw_cusum
from qa.charts.kinds import CHART_KINDS, ChartKind, Quantity
from qa.charts.months_of import SeriesMonths
from qa.stats.constants import c4_of
from qa.stats.count_limits import c_chart_limits, np_chart_limits, u_chart_limits
from qa.stats.estimation import (
    estimation_factor,
    moving_range_freedom,
    one_sided_tail,
    student_width,
)
from qa.stats.ewma import ewma, ewma_variance
from qa.stats.individuals import individuals_limits, mean_moving_range
from qa.stats.laney import sigma_z
from qa.stats.limits import binomial_limits, p_chart_limits
from qa.stats.means import pooled_sd, s_limits, xbar_s_limits

Floats = NDArray[np.float64]
Lines = tuple[Floats, Floats, Floats, Floats]

# Newest month's part of the EWMA, and its limits: 500 months to a false call (1990, table 3).
EWMA_WEIGHT, EWMA_WIDTH = 0.2, 2.962

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
    cusum_limits: tuple[float, float] | None = None,
) -> DrawnSeries:
    """Draw a series as the kind asked for.

    Args:
        series: months of one series.
        kind: code of a monthly kind of CHART_KINDS that fits the series' quantity.
        sigmas: width of Shewhart limits.
        cusum_limits: decision limits upwards and downwards; None: those of CUSUM_ARL.
    Returns: DrawnSeries; centre and limits are nan without a baseline.
    Raises: KeyError for a kind that is no monthly chart of this quantity (callers check first).
    Method: after the baseline limits are wider than the textbook's, because centre and sigma are
        estimates: by √(1 + n / baseline's n), and by Student's factor where sigma comes from
        moving ranges or from within months (qa/stats/estimation.py).
    """
    drawn = _DRAWERS[kind, series.quantity]
    second = np.full(len(series.n), np.nan)
    if kind == "cusum":
        value, second, centre, lcl, ucl = draw_cusum(series, limits=cusum_limits)
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


def _factor(series: SeriesMonths) -> Floats:
    """What an estimated centre line adds to the limits of each month after the baseline."""
    base = float(series.n[series.is_baseline].sum())
    return np.where(series.is_baseline, 1.0, estimation_factor(series.n, base))


def _month_factor(series: SeriesMonths) -> Floats:
    """As _factor where each month of the baseline is one value, whatever its exams."""
    months = int(series.is_baseline.sum())
    return np.where(series.is_baseline, 1.0, estimation_factor(1.0, months))


def freedom_of(series: SeriesMonths, kind: str) -> float:
    """Degrees of freedom of the sigma behind a kind's limits; infinite where counts give it."""
    base = series.is_baseline
    is_chance = kind in ("p-prime", "u-prime") and _widening(series) == 1.0
    if kind in ("individuals", "p-prime", "u-prime") and not is_chance:
        return moving_range_freedom(int(base.sum()))
    if kind == "xbar":
        return float(np.maximum(series.n[base] - 1, 0).sum()) or float("nan")
    return float("inf")


def _student(series: SeriesMonths, kind: str, sigmas: float) -> Floats:
    """Width in sigmas of each month: wider after the baseline where sigma is an estimate."""
    freedom = freedom_of(series, kind)
    later = student_width(sigmas, freedom) if not np.isnan(freedom) else sigmas
    return np.where(series.is_baseline, sigmas, later)


def _around(
    centre: float, limits: tuple[Floats, Floats], factor: Floats, low: float, high: float
) -> tuple[Floats, Floats]:
    """Limits moved away from the centre by a factor, within what is possible."""
    lcl, ucl = limits
    return (
        np.maximum(centre - factor * (centre - lcl), low),
        np.minimum(centre + factor * (ucl - centre), high),
    )


def _draw_p(series: SeriesMonths, sigmas: float) -> Lines:
    centre, n = series.centre, series.n
    lcl, ucl = p_chart_limits(centre, n, sigmas=sigmas)
    is_small = (n * centre < MIN_EXPECTED) | (n * (1 - centre) < MIN_EXPECTED)
    exact = binomial_limits(centre, n, tail=one_sided_tail(sigmas))
    limits = np.where(is_small, exact[0], lcl), np.where(is_small, exact[1], ucl)
    return series.value, _flat(series, centre), *_around(centre, limits, _factor(series), 0, 1)


def _widening(series: SeriesMonths) -> float:
    """sigma_z of the baseline, at least 1; 1 where it is not known."""
    if not series.is_baseline.any():
        return 1.0
    found = sigma_z(z_of_months(series, series.is_baseline))
    return max(1.0, found) if np.isfinite(found) else 1.0


def _draw_prime(series: SeriesMonths, sigmas: float) -> Lines:
    """p′ and u′. A widening of 1 is chance itself, which is known."""
    widening, is_share = _widening(series), series.quantity == Quantity.SHARE
    width = _student(series, "p-prime", sigmas)
    unit = series.centre * (1 - series.centre) if is_share else series.centre
    half = width * widening * np.sqrt(unit / series.n) * _factor(series)
    high = 1.0 if is_share else np.inf
    lcl, ucl = np.maximum(series.centre - half, 0.0), np.minimum(series.centre + half, high)
    return series.value, _flat(series, series.centre), lcl, ucl


def _draw_np(series: SeriesMonths, sigmas: float) -> Lines:
    centre = series.centre * series.n
    limits = np_chart_limits(series.centre, series.n, sigmas=sigmas)
    factor = _factor(series)
    lcl = np.maximum(centre - factor * (centre - limits[0]), 0.0)
    return series.total, centre, lcl, np.minimum(centre + factor * (limits[1] - centre), series.n)


def _draw_u(series: SeriesMonths, sigmas: float) -> Lines:
    limits = u_chart_limits(series.centre, series.n, sigmas=sigmas)
    moved = _around(series.centre, limits, _factor(series), 0, np.inf)
    return series.value, _flat(series, series.centre), *moved


def _draw_c(series: SeriesMonths, sigmas: float) -> Lines:
    base = series.total[series.is_baseline]
    centre = float(base.mean()) if len(base) else np.nan
    limits = c_chart_limits(_flat(series, centre), sigmas=sigmas)
    moved = _around(centre, limits, _month_factor(series), 0, np.inf)
    return series.total, _flat(series, centre), *moved


def _draw_xbar(series: SeriesMonths, sigmas: float) -> Lines:
    within = pooled_sd(series.spread[series.is_baseline], series.n[series.is_baseline])
    limits = xbar_s_limits(series.centre, within, series.n, sigmas=sigmas)
    factor = _factor(series) * _student(series, "xbar", sigmas) / sigmas
    moved = _around(series.centre, limits, factor, -np.inf, np.inf)
    return series.value, _flat(series, series.centre), *moved


def _draw_s(series: SeriesMonths, sigmas: float) -> Lines:
    within = pooled_sd(series.spread[series.is_baseline], series.n[series.is_baseline])
    lcl, ucl = s_limits(within * c4_of(series.n), series.n, sigmas=sigmas)
    return series.spread, within * c4_of(series.n), lcl, ucl


def _draw_individuals(series: SeriesMonths, sigmas: float) -> Lines:
    base = series.value[series.is_baseline]
    centre = float(base.mean()) if len(base) else np.nan
    lcl, ucl = individuals_limits(centre, mean_moving_range(base), sigmas=sigmas)
    factor = _month_factor(series) * _student(series, "individuals", sigmas) / sigmas
    lowest = 0.0 if series.quantity == Quantity.RATE else -np.inf
    limits = _flat(series, lcl), _flat(series, ucl)
    return series.value, _flat(series, centre), *_around(centre, limits, factor, lowest, np.inf)


def _draw_ewma(series: SeriesMonths, sigmas: float) -> Lines:
    """Limits keep their own width, which sets the run length, whatever `sigmas` is."""
    centre, n, base = series.centre, series.n, series.is_baseline
    if series.quantity == Quantity.SHARE:
        unit = centre * (1 - centre)
    elif series.quantity == Quantity.RATE:
        unit = centre
    else:
        unit = pooled_sd(series.spread[base], n[base]) ** 2
    start = centre if np.isfinite(centre) or not len(n) else series.value[0]
    average = ewma(series.value, weight=EWMA_WEIGHT, start=start)
    known = float(n[base].sum())
    of_centre = np.where(base, 0.0, unit / known) if known else 0.0
    half = EWMA_WIDTH * np.sqrt(ewma_variance(unit / n, weight=EWMA_WEIGHT) + of_centre)
    lowest, highest = {
        Quantity.SHARE: (0.0, 1.0),
        Quantity.RATE: (0.0, np.inf),
        Quantity.MEAN: (-np.inf, np.inf),
    }[series.quantity]
    lcl, ucl = np.maximum(centre - half, lowest), np.minimum(centre + half, highest)
    return average, _flat(series, centre), lcl, ucl


_DRAWERS: dict[tuple[str, Quantity], Callable[[SeriesMonths, float], Lines]] = {
    ("p", Quantity.SHARE): _draw_p,
    ("p-prime", Quantity.SHARE): _draw_prime,
    ("np", Quantity.SHARE): _draw_np,
    ("ewma", Quantity.SHARE): _draw_ewma,
    ("cusum", Quantity.SHARE): _draw_ewma,
    ("u", Quantity.RATE): _draw_u,
    ("u-prime", Quantity.RATE): _draw_prime,
    ("c", Quantity.RATE): _draw_c,
    ("individuals", Quantity.RATE): _draw_individuals,
    ("ewma", Quantity.RATE): _draw_ewma,
    ("xbar", Quantity.MEAN): _draw_xbar,
    ("s", Quantity.MEAN): _draw_s,
    ("individuals", Quantity.MEAN): _draw_individuals,
    ("ewma", Quantity.MEAN): _draw_ewma,
    ("cusum", Quantity.RATE): _draw_ewma,
    ("cusum", Quantity.MEAN): _draw_ewma,
}
