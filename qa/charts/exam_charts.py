"""Charts exam by exam against what was expected of each: risk-adjusted CUSUM, VLAD, learning."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, logit, ndtri

from qa.stats.cusum import score_cusum
from qa.stats.learning_curve import learning_cusum, learning_limit
from qa.stats.risk_adjusted import expected_minus_observed, risk_scores
from qa.stats.risk_adjusted_runs import risk_cusum_limit

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

ODDS_RATIO = 2.0
# One false call in so many months of the unit's typical size, as of the monthly charts.
CALL_MONTHS = 370
# The lattice of the run length: fine enough for a chart, quick enough for a screen.
STEPS_PER_UNIT = 40
MOST_SHARES = 40
# A newcomer that is not good enough reaches the limit so rarely within so many exams.
LEARNING_EXAMS, WRONGLY = 100, 0.05


@dataclass(frozen=True)
class DayPoints:
    """One point for each day with exams: the sum after its last exam.

    Args:
        n: exams of the day. second: a mirrored sum downwards; nan where there is none.
        is_outside: a limit was reached on that day, also where the sum fell back before its end.
    """

    days: tuple[date, ...]
    n: NDArray[np.int64]
    value: Floats
    second: Floats
    lcl: Floats
    ucl: Floats
    is_outside: Bools


def risk_cusum(days: Sequence[date], events: ArrayLike, expected: ArrayLike) -> DayPoints:
    """Risk-adjusted CUSUM for odds twice and half as expected, begun anew at 0.

    Args:
        days: day of each exam, in order; events: 1 where the event came; expected: its chance.
    Method: Steiner's scores. Limits: one false call in 370 months of exams like these, each
        way on its own (qa/stats/risk_adjusted_runs.py).
    Weak when: the mix of patients changes much; the limit is for the mix of all exams shown.
    References: Steiner et al., Biostatistics 2000; 1: 441-452.
    """
    y, p = np.asarray(events, dtype=np.float64), np.asarray(expected, dtype=np.float64)
    up = score_cusum(risk_scores(y, p, odds_ratio=ODDS_RATIO))
    down = score_cusum(risk_scores(y, p, odds_ratio=1 / ODDS_RATIO))
    limits = [risk_limit(days, p, odds_ratio=ratio) for ratio in (ODDS_RATIO, 1 / ODDS_RATIO)]
    is_outside = (up >= limits[0]) | (down >= limits[1])
    flat = np.ones_like(p)
    return _by_day(days, up, -down, -limits[1] * flat, limits[0] * flat, is_outside)


def risk_limit(days: Sequence[date], expected: Floats, *, odds_ratio: float) -> float:
    """Limit for one false call in 370 months of the mix and number of these exams."""
    if not len(expected):
        return float("nan")
    shares, counts = _mix(expected)
    months = max(1.0, ((days[-1] - days[0]).days + 1) / 30.44)
    arl = max(CALL_MONTHS * len(expected) / months, CALL_MONTHS)
    return risk_cusum_limit(
        shares, shares=counts, odds_ratio=odds_ratio, arl=arl, steps_per_unit=STEPS_PER_UNIT
    )


def vlad(days: Sequence[date], events: ArrayLike, expected: ArrayLike) -> DayPoints:
    """Expected minus found so far: exams spared; it falls where there are too many events.

    Method: limits hold 95 of 100 such lines on any one day, if chance alone moves them.
    Weak when: read as a test: on some day nearly every line leaves limits for one day.
    References: Lovegrove et al., Lancet 1997; 350: 1128-1130.
    """
    p = np.asarray(expected, dtype=np.float64)
    half = float(ndtri(0.975)) * np.sqrt(np.cumsum(p * (1 - p)))
    line = expected_minus_observed(events, p)
    never = np.zeros(len(p), dtype=bool)
    return _by_day(days, line, np.full_like(p, np.nan), -half, half, never)


@dataclass(frozen=True)
class Learning:
    """A learning curve and the exam at which competence was shown; None: not yet."""

    points: DayPoints
    acceptable: float
    unacceptable: float
    limit: float
    shown_after: int | None


def learning(days: Sequence[date], failures: ArrayLike, *, acceptable: float) -> Learning:
    """Evidence, exam by exam from the first, that a newcomer does as well as the others.

    Args: acceptable: share of failures of the others, above 0 and below 0.5.
    Method: against odds of failure twice as high; a newcomer of that kind reaches the limit within
        100 exams with a probability of 5 %.
    Weak when: patients are chosen to be easy; nothing is adjusted here.
    References: Biau, Porcher, Stat Med 2010; 29: 1900-1909.
    """
    y = np.asarray(failures, dtype=np.float64)
    unacceptable = float(expit(logit(acceptable) + np.log(ODDS_RATIO)))
    rates = {"acceptable": acceptable, "unacceptable": unacceptable}
    limit = learning_limit(**rates, n=LEARNING_EXAMS, wrongly=WRONGLY, steps=20)
    sums = learning_cusum(y, **rates)
    reached = np.flatnonzero(sums >= limit)
    flat, none = np.ones_like(y), np.full_like(y, np.nan)
    points = _by_day(days, sums, none, none, limit * flat, np.zeros(len(y), dtype=bool))
    return Learning(
        points, acceptable, unacceptable, limit, int(reached[0]) + 1 if len(reached) else None
    )


def _mix(expected: Floats) -> tuple[Floats, Floats]:
    """Expected shares, alike ones put together, and how many exams have each."""
    if len(np.unique(expected)) <= MOST_SHARES:
        shares, counts = np.unique(expected, return_counts=True)
        return shares, counts.astype(np.float64)
    parts = np.array_split(np.sort(expected), MOST_SHARES)
    return np.array([part.mean() for part in parts]), np.array([float(len(part)) for part in parts])


def _by_day(
    days: Sequence[date],
    value: Floats,
    second: Floats,
    lcl: Floats,
    ucl: Floats,
    is_outside: Bools,
) -> DayPoints:
    number = np.array([day.toordinal() for day in days], dtype=np.int64)
    last = np.flatnonzero(np.append(np.diff(number) != 0, True)) if len(number) else number
    first = np.concatenate([[0], last[:-1] + 1]) if len(last) else last
    outside = np.logical_or.reduceat(is_outside, first) if len(first) else is_outside
    return DayPoints(
        days=tuple(days[place] for place in last.tolist()),
        n=(last - first + 1).astype(np.int64) if len(last) else last,
        value=value[last],
        second=second[last],
        lcl=lcl[last],
        ucl=ucl[last],
        is_outside=outside,
    )
