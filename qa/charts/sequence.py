"""Charts event by event: exams or days between rare events."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from qa.stats.estimation import one_sided_tail
from qa.stats.rare_events import g_probability_limits, t_chart_limits

Floats = NDArray[np.float64]

# Fewest events of a baseline from which limits of the time between them are worked out.
MIN_EVENTS = 10


@dataclass(frozen=True)
class BetweenEvents:
    """One point for each event but the first: when it was, and how far from the one before.

    Args:
        days: day of the event.
        value: exams without an event since the one before, or days since it.
        is_baseline: the event lies in the baseline.
        lcl, centre, ucl: nan where fewer than ten events lie in the baseline.
    """

    days: tuple[date, ...]
    value: Floats
    is_baseline: NDArray[np.bool_]
    lcl: float
    centre: float
    ucl: float


def exams_between(
    days: Sequence[date],
    events: NDArray[np.bool_],
    *,
    baseline: tuple[date, date] | None,
    sigmas: float = 3.0,
) -> BetweenEvents:
    """g-chart: exams without the event between two events.

    Args:
        days: day of each exam, in order; events: whether it counts.
        baseline: first and last day; None where there is none yet.
    Returns: BetweenEvents. centre is the median of the geometric distribution of the baseline's
        share, since half of all points lie above it; limits are its 0.135 % points (for 3 sigmas).
    """
    places = np.flatnonzero(events)
    value = (np.diff(places) - 1).astype(np.float64)
    at, is_baseline = _events_at(days, places, baseline)
    inside = np.array([_is_in(day, baseline) for day in days], dtype=bool)
    n, n_events = int(inside.sum()), int(np.asarray(events)[inside].sum())
    if n_events < MIN_EVENTS or n_events == n:
        return BetweenEvents(at, value, is_baseline, np.nan, np.nan, np.nan)
    share = n_events / n
    lcl, ucl = (float(limit) for limit in g_probability_limits(share, tail=one_sided_tail(sigmas)))
    centre = float(np.ceil(np.log(0.5) / np.log1p(-share)) - 1)
    return BetweenEvents(at, value, is_baseline, lcl, max(centre, 0.0), ucl)


def days_between(
    days: Sequence[date],
    events: NDArray[np.bool_],
    *,
    baseline: tuple[date, date] | None,
    sigmas: float = 3.0,
) -> BetweenEvents:
    """t-chart: days between two events; two on one day count as half a day apart.

    Args, Returns: as exams_between; limits by an individuals chart of days^(1/3.6).
    """
    places = np.flatnonzero(events)
    at, is_baseline = _events_at(days, places, baseline)
    ordinals = np.array([days[place].toordinal() for place in places.tolist()], dtype=np.float64)
    value = np.maximum(np.diff(ordinals), 0.5)
    if is_baseline.sum() < MIN_EVENTS:
        return BetweenEvents(at, value, is_baseline, np.nan, np.nan, np.nan)
    lcl, centre, ucl = t_chart_limits(value[is_baseline], sigmas=sigmas)
    return BetweenEvents(at, value, is_baseline, lcl, centre, ucl)


def _events_at(
    days: Sequence[date], places: NDArray[np.intp], baseline: tuple[date, date] | None
) -> tuple[tuple[date, ...], NDArray[np.bool_]]:
    at = tuple(days[place] for place in places[1:].tolist())
    return at, np.array([_is_in(day, baseline) for day in at], dtype=bool)


def _is_in(day: date, baseline: tuple[date, date] | None) -> bool:
    return baseline is not None and baseline[0] <= day <= baseline[1]
