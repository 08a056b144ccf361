"""Limits of the drift CUSUM for a wanted number of false items, by exact run lengths."""

from collections.abc import Callable, Sequence
from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv, gammaln, ndtr, xlog1py, xlogy

from qa.stats.drift_cusum import month_scores, odds_sought

Floats = NDArray[np.float64]

# Months over which false items are counted, from the end of the baseline on.
HORIZON = 36

# A fixed grid, so that a limit never depends on which other series there are.
N_GRID = tuple(float(2**power) for power in range(12))
SHARE_GRID = (0.002, 0.006, 0.02, 0.05, 0.1, 0.2, 0.4, 0.7, 0.95)
MONTHS_GRID = (2.0, 5.0, 12.0, 30.0, 80.0, 250.0)
RATE_GRID = tuple(10.0**-power for power in range(1, 8))

_STATES = 32

# An open item is followed until its sum has fallen to this part of the limit: close to what its
# closing rule does, which hangs on more than the sum (simulated: within 12 % of the rate).
_CLOSE = 0.6
_NODES = 5
_STEPS = 4
_MOST_EVENTS = 60.0
_REACH = 7.0


def drift_limits(
    n: ArrayLike, *, event_weight: ArrayLike, other_weight: ArrayLike, rate: ArrayLike
) -> Floats:
    """Limit of each series' CUSUM, at which it opens `rate` false items a month on average.

    Args:
        n: exams of a typical month, 1 or more.
        event_weight, other_weight: what is known beforehand (predictive.py): the true share is
            taken to lie around event_weight / (event_weight + other_weight) as a beta
            distribution says. A short baseline so gets a higher limit: the rate is that of the
            chart as it is drawn, not of one whose share is known.
        rate: false items a month for one series, 1e-7 to 0.1.
    Returns: limits in units of evidence.
    Method: the sum's distribution is carried from month to month on a lattice of 32 steps, for
        five shares that stand for the beta distribution, over 36 months from 0; the limit is
        found by secants for each corner of a fixed grid and interpolated between corners.
    Weak when: months of one series differ by more than chance, or n differs widely.
    References: Brook, Evans, Biometrika 1972; 59: 539-549 (the chain). Bottle, Aylin, J Oper Res
        Soc 2011 (limits by volume and expected rate, for many units; recalled).
    """
    a, b, size, part = np.broadcast_arrays(
        *(np.asarray(one, dtype=np.float64) for one in (event_weight, other_weight, n, rate))
    )
    given = [one.ravel() for one in (size, a / (a + b), (a + b) / size, part)]
    corner, weights = np.empty(size.size, dtype=np.int64), np.empty((len(_AXES), size.size))
    chunks = [slice(start, start + _CHUNK) for start in range(0, size.size, _CHUNK)]
    for at in chunks:
        corner[at], weights[:, at] = _places([one[at] for one in given])
    _fill(corner)
    limits = np.empty(size.size)
    for at in chunks:
        limits[at] = _between(corner[at], weights[:, at])
    return limits.reshape(size.shape)


def _places(values: Sequence[Floats]) -> tuple[NDArray[np.int64], Floats]:
    """Flat place in the table of each value's lowest corner, and the upper one's weight by axis."""
    found = [_place(axis, one) for axis, one in zip(_AXES, values, strict=True)]
    corner = sum((low * step for (low, _), step in zip(found, _STRIDES, strict=True)), np.int64(0))
    return np.asarray(corner), np.stack([weight for _, weight in found])


def _between(corner: NDArray[np.int64], weights: Floats) -> Floats:
    """Limits between the sixteen corners, drawn together axis by axis."""
    known = _TABLE.ravel()
    found = [known[corner + step] for step in _CORNERS]
    for weight in weights[::-1]:
        found = [
            low + weight * (high - low) for low, high in zip(found[::2], found[1::2], strict=True)
        ]
    return found[0]


def false_item_rate(
    limit: ArrayLike,
    n: ArrayLike,
    *,
    event_weight: ArrayLike,
    other_weight: ArrayLike,
) -> Floats:
    """False items a month that one series opens at a limit, over 36 months from 0.

    Args, Method: as drift_limits; all of one length.
    """
    end, size, a, b = (
        np.atleast_1d(np.asarray(one, dtype=np.float64))
        for one in (limit, n, event_weight, other_weight)
    )
    share = a / (a + b)
    points, weights = _gauss()
    true = np.clip(betaincinv(a[:, None], b[:, None], ndtr(points)), 1e-9, 1 - 1e-9)
    chain = _chain(end, size, share, true)
    return _openings(chain) @ weights / HORIZON


def _gauss() -> tuple[Floats, Floats]:
    """Points and weights that stand for a normal curve, the tails well among them."""
    points, weights = np.polynomial.hermite_e.hermegauss(_NODES)
    return points, weights / weights.sum()


def _place(axis: tuple[float, ...], values: Floats) -> tuple[NDArray[np.int64], Floats]:
    """Lower corner and weight of the upper one, on a logarithmic axis; ends are held."""
    logs = np.log(np.array(axis))
    is_rising = logs[-1] > logs[0]
    x = np.clip(np.log(np.maximum(values, 1e-12)), logs.min(), logs.max())
    ordered = logs if is_rising else -logs
    at = x if is_rising else -x
    low = np.clip(np.searchsorted(ordered, at, side="right") - 1, 0, len(axis) - 2)
    return low.astype(np.int64), (at - ordered[low]) / (ordered[low + 1] - ordered[low])


# Limits of grid corners; each is worked out once in a process, those never asked for stay nan.
_AXES = (N_GRID, SHARE_GRID, MONTHS_GRID, RATE_GRID)
_TABLE = np.full(tuple(map(len, _AXES)), np.nan)
_STRIDES = np.cumprod([1, *_TABLE.shape[:0:-1]])[::-1]
_CORNERS = [int(np.dot(steps, _STRIDES)) for steps in product((0, 1), repeat=len(_AXES))]
_AT_ONCE = 256

# Values worked on together, so that they stay in the processor's cache.
_CHUNK = 1 << 15


def _fill(corner: NDArray[np.int64]) -> None:
    """Work out the corners around these places that are not known yet."""
    is_asked = np.zeros(_TABLE.size, dtype=bool)
    is_asked[corner] = True
    lowest = np.flatnonzero(is_asked)
    for step in _CORNERS:
        is_asked[lowest + step] = True
    missing = np.flatnonzero(is_asked & np.isnan(_TABLE.ravel()))
    for start in range(0, len(missing), _AT_ONCE):
        chunk = missing[start : start + _AT_ONCE]
        _TABLE.ravel()[chunk] = _solve(np.stack(np.unravel_index(chunk, _TABLE.shape), axis=1))


def _solve(places: NDArray[np.int64]) -> Floats:
    """Limits of corners given by their places on the four axes."""
    n, share, months, rate = (
        np.array(axis)[places[:, number]]
        for number, axis in enumerate((N_GRID, SHARE_GRID, MONTHS_GRID, RATE_GRID))
    )
    a, b = share * months * n, (1 - share) * months * n
    goal = np.log(rate)

    def too_often(limit: Floats) -> Floats:
        found = false_item_rate(limit, n, event_weight=a, other_weight=b)
        return np.asarray(np.log(np.maximum(found, 1e-14)) - goal)

    return _falling_root(too_often, first=np.maximum(0.5, -0.8 * goal))


def _falling_root(falling: Callable[[Floats], Floats], *, first: Floats) -> Floats:
    """Where functions that fall almost along straight lines are 0: bracketed secant steps."""
    low, high = np.full(first.shape, 0.02), np.full(first.shape, 40.0)
    at, value = first, falling(first)
    before, value_before = at * 1.1, falling(at * 1.1)
    for _ in range(_STEPS):
        low, high = np.where(value > 0, at, low), np.where(value > 0, high, at)
        slope = (value - value_before) / np.where(at == before, 1.0, at - before)
        step = np.where(slope < -1e-3, -value / np.where(slope < -1e-3, slope, -1.0), 0.0)
        later = at + step
        is_inside = (later > low) & (later < high) & (step != 0)
        later = np.where(is_inside, later, (low + np.minimum(high, 2 * at)) / 2)
        before, value_before = at, value
        at, value = later, falling(later)
    return at


def _chain(limit: Floats, n: Floats, share: Floats, true: Floats) -> Floats:
    """Moves of the sum in one month: (series, share, from, to) on a lattice up to the limit."""
    jumps = np.cumsum(_jumps(limit, n, share, true), axis=-1)
    below = np.concatenate([np.zeros((*jumps.shape[:-1], 1)), jumps], axis=-1)
    start, end = np.indices((_STATES + 1, _STATES + 1))
    jump = end - start + _STATES
    upto = np.where(end == _STATES, 2 * _STATES, jump) + 1
    return np.asarray(below[..., upto] - np.where(end == 0, 0.0, below[..., jump]))


def _jumps(limit: Floats, n: Floats, share: Floats, true: Floats) -> Floats:
    """Chance of each jump of the sum, from all steps of the lattice down to all steps up."""
    held = np.minimum(n, np.maximum(1.0, np.rint(_MOST_EVENTS / share)))
    sd = np.sqrt(held * share * (1 - share))
    first = np.floor(np.maximum(0, held * true.min(axis=1) - _REACH * sd))
    last = np.ceil(np.minimum(held, held * true.max(axis=1) + _REACH * sd + 3))
    steps = np.arange(int((last - first).max()) + 1)
    k = np.minimum(first[:, None] + steps, held[:, None])
    mass = _binomial(k[:, None, :], held[:, None, None], true[:, :, None])
    mass *= (first[:, None] + steps <= held[:, None])[:, None, :]
    ratio = odds_sought(held * share)
    weigh = {"share": share[:, None], "odds_ratio": ratio[:, None]}
    score = month_scores(k, held[:, None], **weigh) / limit[:, None] * _STATES
    below = np.floor(score)
    upper = score - below
    found = np.zeros((*true.shape, 2 * _STATES + 1))
    rows = np.arange(true.size).reshape(*true.shape, 1) * found.shape[-1]
    for move, part in ((below, 1 - upper), (below + 1, upper)):
        jump = np.clip(move, -_STATES, _STATES).astype(np.int64) + _STATES
        at = rows + jump[:, None, :]
        found += np.bincount(
            at.ravel(), weights=(mass * part[:, None, :]).ravel(), minlength=found.size
        ).reshape(found.shape)
    return found


def _binomial(k: Floats, n: Floats, p: Floats) -> Floats:
    with np.errstate(invalid="ignore"):
        ways = gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1)
        return np.nan_to_num(np.exp(ways + xlogy(k, p) + xlog1py(n - k, -p)))


def _openings(chain: Floats) -> Floats:
    """Expected items opened within the horizon, for each series and share."""
    closed = np.zeros(chain.shape[:-1])
    closed[..., 0] = 1.0
    is_open = np.zeros_like(closed)
    opened = np.zeros(chain.shape[:2])
    end = int(_CLOSE * _STATES)
    for _ in range(HORIZON):
        both = np.stack([closed, is_open], axis=-2) @ chain
        closed, is_open = both[..., 0, :], both[..., 1, :]
        opened += closed[..., _STATES:].sum(axis=-1)
        is_open[..., _STATES:] += closed[..., _STATES:]
        closed[..., _STATES:] = 0.0
        closed[..., 0] += is_open[..., :end].sum(axis=-1)
        is_open[..., :end] = 0.0
    return opened
