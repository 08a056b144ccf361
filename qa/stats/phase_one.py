"""Phase I of a baseline: which months lie outside limits made from themselves, by a stated rule."""

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtr, bdtrc, chdtrc, ndtri

from qa.stats.estimation import one_sided_tail

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Not more than this part of the months is taken out; where more would have to go, none is.
MOST_REMOVED = 0.25

# Fewest months from which more spread than chance is believed, and how sure that has to be.
MIN_MONTHS, MIN_SPREAD, P_VALUE = 12, 1.2, 0.01

_FEW = 5.0
_SURELY_INSIDE = 1.5
_MEDIAN_RANGE = float(np.sqrt(2) * ndtri(0.75))


def months_kept(
    n_events: NDArray,
    n: NDArray,
    groups: Ints,
    *,
    sigmas: float = 3.0,
    is_widened: bool = True,
) -> tuple[Bools, Bools]:
    """Take months out of many baselines until every month left lies within limits.

    Args:
        n_events, n: events and exams of each month, n ≥ 1, in order within its group.
        groups: number of the baseline, 0 and up, rising.
        sigmas: width of the limits.
        is_widened: allow for months that differ by more than chance; False: textbook limits.
    Returns: (kept, is_unsteady): the first for each month, the second for each group.
    Method: centre from the months kept; limits are three sigma where five exams of either kind
        are expected, else exact binomial; with 12 months or more that differ by more than chance
        (chi-squared 1 %, and 1.2 times as much by the median moving range) they are widened by
        that factor. Months strictly outside, on either side, go; then again, until none does.
        Where more than a quarter would go, the period has no one level: all months stay and
        the group is unsteady.
    Weak when: a slow drift: no month lies outside, and the spread that it makes widens limits.
    References: Montgomery, Introduction to Statistical Quality Control, 7.2 (trial limits
        revised); Laney 2002 (widening). A quarter is a proposal of this tool.
    Example: 2 of 40 eleven times and 20 of 40 once → the last goes
    """
    events, size = n_events.astype(np.float64), n.astype(np.float64)
    n_groups = int(groups.max()) + 1 if len(groups) else 0
    kept = np.ones(len(size), dtype=bool)
    unsteady = np.zeros(n_groups, dtype=bool)
    months = np.bincount(groups, minlength=n_groups)
    at = np.arange(len(size))
    while len(at):
        of = groups[at]
        z, centre = _distances(events[at], size[at], kept[at], of, n_groups)
        spread = _spread(z, kept[at], of, n_groups) if is_widened else np.ones(n_groups)
        is_out = _is_outside(events[at], size[at], z, centre=centre, spread=spread[of], k=sigmas)
        outside = at[is_out & kept[at]]
        kept[outside] = False
        gone = np.bincount(groups[~kept], minlength=n_groups)
        too_many = gone > MOST_REMOVED * months
        unsteady |= too_many
        kept |= too_many[groups]
        again = np.zeros(n_groups, dtype=bool)
        again[groups[outside]] = True
        at = at[(again & ~too_many)[of]]
    return kept, unsteady


def _distances(
    events: Floats, size: Floats, kept: Bools, groups: Ints, n_groups: int
) -> tuple[Floats, Floats]:
    """Of each month: distance from the centre of the months kept, in sigma, and that centre."""
    sums = np.bincount(groups, np.where(kept, events, 0.0), minlength=n_groups)
    totals = np.bincount(groups, np.where(kept, size, 0.0), minlength=n_groups)
    centre = (sums / np.maximum(totals, 1.0))[groups]
    unit = np.sqrt(np.maximum(centre * (1 - centre), 1e-12) / size)
    return (events / size - centre) / unit, centre


def _is_outside(
    events: Floats, size: Floats, z: Floats, *, centre: Floats, spread: Floats, k: float
) -> Bools:
    """Strictly outside k sigma, or the exact binomial limits where few are expected."""
    is_exact = (size * np.minimum(centre, 1 - centre) < _FEW) & (spread == 1.0)
    outside = (np.abs(z) > k * spread) & ~is_exact
    at = np.flatnonzero(is_exact & (np.abs(z) > _SURELY_INSIDE))
    n, p = size[at].astype(np.int64), centre[at]
    upper = np.where(events[at] > 0, bdtrc(events[at] - 1, n, p), 1.0)
    outside[at] = np.where(z[at] > 0, upper, bdtr(events[at], n, p)) <= one_sided_tail(k)
    return outside


def _spread(z: Floats, kept: Bools, groups: Ints, n_groups: int) -> Floats:
    """How much more than chance the months of each group differ; 1 where that is not sure."""
    at = np.flatnonzero(kept)
    z, of = z[at], groups[at]
    months = np.bincount(of, minlength=n_groups)
    squares = np.bincount(of, z**2, minlength=n_groups)
    is_wide = (months >= MIN_MONTHS) & (chdtrc(np.maximum(months - 1, 1), squares) < P_VALUE)
    spread = np.ones(n_groups)
    same = (of[1:] == of[:-1]) & is_wide[of[1:]]
    ranges, of = np.abs(np.diff(z))[same], of[1:][same]
    if not len(ranges):
        return spread
    order = np.lexsort((ranges, of))
    ranges, of = ranges[order], of[order]
    numbers, first, size = np.unique(of, return_index=True, return_counts=True)
    median = (ranges[first + (size - 1) // 2] + ranges[first + size // 2]) / 2
    found = median / _MEDIAN_RANGE
    spread[numbers] = np.where(found >= MIN_SPREAD, found, 1.0)
    return spread
