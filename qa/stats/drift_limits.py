"""Limits of the drift CUSUM for a wanted number of false items, by exact run lengths."""

from collections.abc import Callable, Iterable, Iterator
from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv, gammaln, ndtr, xlog1py, xlogy

from qa.stats.drift_cusum import RESTART, month_scores, odds_sought

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
# closing rule does, which hangs on more than the sum (simulated: within 6 % of the rate).
_CLOSE = 0.75
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
    axes = (N_GRID, SHARE_GRID, MONTHS_GRID, RATE_GRID)
    places = _places(axes, (size, a / (a + b), (a + b) / size, part))
    _fill(code for code, _ in _corners(places))
    known, limits = _TABLE.ravel(), np.zeros(size.shape)
    for code, weight in _corners(places):
        limits += known[code] * weight
    return limits


def _places(
    axes: tuple[tuple[float, ...], ...], values: tuple[Floats, ...]
) -> list[tuple[NDArray[np.int64], Floats]]:
    """On each axis: the lower corner's step in the table's flat order, and the upper's weight."""
    strides = np.cumprod([1, *_TABLE.shape[:0:-1]])[::-1]
    found = map(_place, axes, values)
    return [(low * stride, weight) for (low, weight), stride in zip(found, strides, strict=True)]


def _corners(
    places: list[tuple[NDArray[np.int64], Floats]],
) -> Iterator[tuple[NDArray[np.int64], Floats]]:
    """Flat place in the table and weight of each of the corners around every value."""
    strides = np.cumprod([1, *_TABLE.shape[:0:-1]])[::-1]
    for steps in product((0, 1), repeat=len(places)):
        code = sum((low for low, _ in places), np.zeros((), dtype=np.int64)) + steps @ strides
        weight = np.ones(())
        for (_, upper), step in zip(places, steps, strict=True):
            weight = weight * (upper if step else 1 - upper)
        yield code, weight


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
_TABLE = np.full(tuple(map(len, (N_GRID, SHARE_GRID, MONTHS_GRID, RATE_GRID))), np.nan)
_AT_ONCE = 256


def _fill(codes: Iterable[NDArray[np.int64]]) -> None:
    """Work out the corners asked for that are not known yet."""
    is_asked = np.zeros(_TABLE.size, dtype=bool)
    for code in codes:
        is_asked[code.ravel()] = True
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
    held = np.minimum(n, np.maximum(1.0, np.rint(_MOST_EVENTS / share)))
    size = _STATES + 1
    chain = np.zeros((*true.shape, size, size))
    states = np.arange(size)
    grid = np.indices(true.shape)
    series, nodes = grid[0], grid[1]
    sd = np.sqrt(held * share * (1 - share))
    first = np.floor(np.maximum(0, held * true.min(axis=1) - _REACH * sd))
    last = np.ceil(np.minimum(held, held * true.max(axis=1) + _REACH * sd + 3))
    ratio = odds_sought(held * share)
    for step in range(int((last - first).max()) + 1):
        k = first + step
        mass = np.where((k <= held)[:, None], _binomial(k[:, None], held[:, None], true), 0.0)
        score = month_scores(k, held, share=share, odds_ratio=ratio) / limit * _STATES
        below = np.floor(score)
        for move, part in ((below, 1 - (score - below)), (below + 1, score - below)):
            to = np.asarray(np.clip(states + move[:, None], 0, size - 1), dtype=np.int64)
            at = (series[..., None], nodes[..., None], states, to[:, None, :])
            chain[at] += (mass * part[:, None])[..., None]
    return chain


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
    end, again = int(_CLOSE * _STATES), int(RESTART * _STATES)
    for _ in range(HORIZON):
        both = np.stack([closed, is_open], axis=-2) @ chain
        closed, is_open = both[..., 0, :], both[..., 1, :]
        opened += closed[..., _STATES:].sum(axis=-1)
        is_open[..., _STATES:] += closed[..., _STATES:]
        closed[..., _STATES:] = 0.0
        closed[..., :again] += is_open[..., :again]
        closed[..., again] += is_open[..., again:end].sum(axis=-1)
        is_open[..., :end] = 0.0
    return opened
