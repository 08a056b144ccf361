"""Since when has a share been where it is now? Steps of a monthly series and its trend."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from qa.stats.segments import rank_step, step_interval, step_places
from qa.stats.trend import mann_kendall

PENALTY = 3.0
"""Times ln(months) times the variance of one exam, for each step, as the modified criterion of
Zhang and Siegmund, Biometrics 2007; 63: 22-32 weighs them: Schwarz's own finds steps in quiet
series."""
EDGE = 3
"""A step with fewer months than this before it has nothing to be held against."""


@dataclass(frozen=True)
class Started:
    """Places in the series. start: first month of the present level, None where no step was found;
    first, last: months that it may have been, nine in ten. trend_p: Mann-Kendall; trend: share a
    month; rank_p: Pettitt."""

    start: int | None
    first: int | None
    last: int | None
    trend: float
    trend_p: float
    rank_p: float


def find_start(n_events: ArrayLike, n: ArrayLike) -> Started:
    """The last step of a series of monthly shares, with the months that it may have been.

    Args: n_events, n: of each month in order, n 1 or more; three months or more.
    Weak when: the share drifts; the step named is then about where half was reached.
    """
    events, exams = np.asarray(n_events, float), np.asarray(n, float)
    share = events / exams
    centre = np.clip(events.sum() / exams.sum(), 0.5 / exams.sum(), 1 - 0.5 / exams.sum())
    variance = centre * (1 - centre)
    penalty = PENALTY * np.log(share.size) * variance
    places = step_places(share, weights=exams, penalty=penalty)
    places = [place for place in places if place >= EDGE]
    trend, rank = mann_kendall(share), rank_step(share)
    start = first = last = None
    if places:
        begin = places[-2] if len(places) > 1 else 0
        own = step_interval(
            share[begin:], places[-1] - begin, variance=variance, weights=exams[begin:]
        )
        start, first, last = places[-1], begin + own.first, begin + own.last
    return Started(start, first, last, trend.slope, trend.p_value, rank.p_value)
