"""Two-sided CUSUM charts: of shares by their odds, of rates and means by the months' own spread."""

import numpy as np
from numpy.typing import NDArray

from qa.charts.kinds import Quantity
from qa.charts.months_of import SeriesMonths
from qa.stats.cusum import score_cusum, two_sided_cusum
from qa.stats.cusum_runs import cusum_limit
from qa.stats.drift_cusum import month_scores, odds_sought
from qa.stats.drift_limits import drift_limits
from qa.stats.estimation import moving_range_freedom, student_width
from qa.stats.individuals import mean_moving_range

Floats = NDArray[np.float64]
CusumLines = tuple[Floats, Floats, Floats, Floats, Floats]

# Mean number of months to a false call that limits are set for, both directions together.
CUSUM_ARL = 370.0

# Half the shift sought, in sigma of a month.
ALLOWANCE = 0.5

_D2 = 2 / np.sqrt(np.pi)


def draw_cusum(series: SeriesMonths, *, limits: tuple[float, float] | None = None) -> CusumLines:
    """Sums over the months after the baseline, upwards and, mirrored, downwards.

    Args: limits: decision limits upwards and downwards; None: those of CUSUM_ARL.
    Returns: upper sums, lower sums (0 or below), centre 0, lower and upper limit of each month.
    Method: shares: evidence for odds twice as high (less where many events are expected), and
        for the other kind of exam likewise; limits allow for the baseline's own uncertainty
        (qa/stats/drift_limits.py). Rates and means: sums beyond half a sigma, sigma from the
        baseline's moving ranges, limits from the run length of a known baseline and widened by
        Student's factor, which is close and not exact.
    """
    if series.quantity == Quantity.SHARE:
        return _of_shares(series, limits)
    return _of_values(series, limits)


def _of_shares(series: SeriesMonths, limits: tuple[float, float] | None) -> CusumLines:
    later, base = ~series.is_baseline, series.is_baseline
    events, n = series.total, series.n
    known = float(events[base].sum()), float(n[base].sum() - events[base].sum())
    sums, ends = [], []
    for side, counted in enumerate((events, n - events)):
        weights = known[side] + 0.5, known[1 - side] + 0.5
        share = weights[0] / sum(weights) if base.any() else np.nan
        typical = float(np.mean(n[later])) if later.any() else 1.0
        ratio = odds_sought(typical * share)
        scores = month_scores(counted, n, share=share, odds_ratio=ratio)
        sums.append(np.where(later, score_cusum(np.where(later, scores, np.nan)), np.nan))
        ends.append(
            drift_limits(
                max(typical, 1.0),
                event_weight=weights[0],
                other_weight=weights[1],
                rate=1 / (2 * CUSUM_ARL),
            )
            if base.any()
            else np.nan
        )
    up, down = limits or (float(ends[0]), float(ends[1]))
    return _lines(series, sums[0], -sums[1], down, up)


def _of_values(series: SeriesMonths, limits: tuple[float, float] | None) -> CusumLines:
    base, later = series.is_baseline, ~series.is_baseline
    values = series.value[base]
    nothing = np.full(len(series.n), np.nan)
    sigma = mean_moving_range(values) / _D2 if len(values) > 1 else np.nan
    if not sigma > 0:
        return _lines(series, nothing, nothing, np.nan, np.nan)
    z = np.where(later, (series.value - values.mean()) / sigma, np.nan)
    upper, lower = two_sided_cusum(z, target=0.0, allowance=ALLOWANCE)
    wide = student_width(3.0, moving_range_freedom(len(values))) / 3 * np.sqrt(1 + 1 / len(values))
    end = cusum_limit(arl=CUSUM_ARL, allowance=ALLOWANCE) * wide
    up, down = limits or (end, end)
    shown = np.where(later, 1.0, np.nan)
    return _lines(series, upper * shown, -lower * shown, down, up)


def _lines(
    series: SeriesMonths, upper: Floats, lower: Floats, down: float, up: float
) -> CusumLines:
    size = len(series.n)
    return upper, lower, np.zeros(size), np.full(size, -down), np.full(size, up)
