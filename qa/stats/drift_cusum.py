"""A CUSUM of monthly counts on many series at once: opens an item, and closes it again."""

from typing import NamedTuple, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Odds that the CUSUM looks for, as a factor. With many events a month a smaller shift is worth
# finding: the one of 2.2 standard errors of a month.
MOST_ODDS = 2.5
SQUARED_ERRORS = 5.0

# An item closes when the months since are ten times as likely with what was expected as with what
# was seen while the evidence rose; those are odds of at least `odds_sought` and at most this.
CLOSING = float(np.log(10.0))
MOST_ODDS_SEEN = 20.0


def odds_sought(expected: ArrayLike) -> Floats:
    """Odds ratio that a series' CUSUM looks for.

    Args:
        expected: events expected in a typical month.
    Returns: 1 + √(5 / expected), at most 2.5. A CUSUM made for 2.5 finds odds twice and three
        times those expected almost as soon as one made for them (tests/benchmarks/detection.py).
    Example: 1 → 2.5; 20 → 1.5
    """
    events = np.maximum(np.asarray(expected, dtype=np.float64), 1e-9)
    return np.asarray(np.minimum(1 + np.sqrt(SQUARED_ERRORS / events), MOST_ODDS))


def month_scores(
    n_events: ArrayLike, n: ArrayLike, *, share: ArrayLike, odds_ratio: ArrayLike
) -> Floats:
    """Evidence of each month for odds `odds_ratio` times those of `share`.

    Method: logarithm of the likelihood ratio of two binomial distributions; the sum of the
        weights of its exams (Steiner et al. 2000), so that months of any size add up.
    Example: 2 events of 5, share 0.1, odds ratio 2 → 0.910
    """
    p, ratio = np.asarray(share, dtype=np.float64), np.asarray(odds_ratio, dtype=np.float64)
    events, size = np.asarray(n_events, dtype=np.float64), np.asarray(n, dtype=np.float64)
    return np.asarray(events * np.log(ratio) - size * np.log(1 - p + ratio * p))


def drift_cusum(
    n_events: ArrayLike, n: ArrayLike, *, share: ArrayLike, limits: ArrayLike, odds: ArrayLike
) -> tuple[Floats, Bools]:
    """Sum evidence over time and say in which months an item is open.

    Args:
        n_events, n: (time, series); n of nan or 0 is a month without exams and moves nothing.
        share: same shape; what is expected.
        limits: same shape; the limit in force in each month.
        odds: same shape; odds ratio that the sum is made for (odds_sought).
    Returns: (sums, is open), same shape. An item opens when the sum reaches the limit, at which
        it is held. Whether it closes is asked by a second sum, which begins at 0 when the item
        opens: evidence for what is expected against the odds seen since the first sum left 0,
        the month asked about left out. It closes at ln 10; a large change so closes as soon as
        it is over, also where events are rare. The first sum then begins anew at 0.
    Weak when: what is expected has changed for good reasons; then a person re-sets the baseline.
    References: Page, Biometrika 1954; 41: 100-115. The closing rule is a proposal of this tool.
    Example: share 0.1, odds 2.5, limit 2, months of 10 exams with 5, 4, 0 events → sums 2, 2,
        0; open: yes, yes, no
    """
    x, size, p, ends, ratio = (
        np.asarray(one, dtype=np.float64) for one in (n_events, n, share, limits, odds)
    )
    is_known = size > 0
    sums, opened = np.zeros_like(size), np.zeros(size.shape, dtype=bool)
    state = _State.before(size.shape[1:])
    for month in range(len(size)):
        later = _one_month(state, x[month], size[month], p[month], ratio[month], ends[month])
        at = is_known[month]
        state = _State(*(np.where(at, new, old) for new, old in zip(later, state, strict=True)))
        sums[month], opened[month] = state.sums, state.is_open
    return sums, opened


class _State(NamedTuple):
    """Of each series: its sum, whether an item is open, and what was seen since the sum left 0."""

    sums: Floats
    is_open: Bools
    closing: Floats
    events: Floats
    exams: Floats

    @classmethod
    def before(cls, shape: tuple[int, ...]) -> Self:
        zero = np.zeros(shape)
        return cls(zero, np.zeros(shape, dtype=bool), zero, zero, zero)


def _one_month(
    state: _State, x: Floats, n: Floats, share: Floats, ratio: Floats, limit: Floats
) -> _State:
    score = month_scores(x, n, share=share, odds_ratio=ratio)
    sums = np.clip(state.sums + score, 0.0, limit)
    seen = _odds_seen(state, share, ratio)
    back = state.closing - month_scores(x, n, share=share, odds_ratio=seen)
    closing = np.where(state.is_open, np.maximum(back, 0.0), 0.0)
    is_open = (sums >= limit) | (state.is_open & (closing < CLOSING))
    is_closed = state.is_open & ~is_open
    sums = np.where(is_closed, 0.0, sums)
    goes_on = sums > 0
    return _State(
        sums,
        is_open,
        closing,
        np.where(goes_on, state.events + x, 0.0),
        np.where(goes_on, state.exams + n, 0.0),
    )


def _odds_seen(state: _State, share: Floats, ratio: Floats) -> Floats:
    """Odds seen since the sum left 0, as a factor on those expected."""
    others = np.maximum(state.exams - state.events, 0.5)
    odds = state.events / others / (share / (1 - share))
    return np.maximum(ratio, np.minimum(odds, MOST_ODDS_SEEN))
