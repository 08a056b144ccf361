"""Limits of the drift CUSUM for a wanted number of false items, by exact run lengths."""

from collections.abc import Callable
from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv, gammaln, ndtr, xlog1py, xlogy

from qa.stats.drift_cusum import CAP, CLOSE, month_scores, odds_sought

Floats = NDArray[np.float64]
Cell = tuple[int, int, int, int]

# Months over which false items are counted, from the end of the baseline on.
HORIZON = 36

# A fixed grid, so that a limit never depends on which other series there are.
N_GRID = tuple(float(2**power) for power in range(12))
SHARE_GRID = (0.002, 0.006, 0.02, 0.05, 0.1, 0.2, 0.4, 0.7, 0.95)
MONTHS_GRID = (2.0, 5.0, 12.0, 30.0, 80.0, 250.0)
RATE_GRID = tuple(10.0**-power for power in range(1, 8))

_STATES = 32
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
    values = (size, a / (a + b), (a + b) / size, part)
    low, weight = zip(*map(_place, axes, values), strict=True)
    corners = [
        np.stack([one + step for one, step in zip(low, steps, strict=True)], axis=-1)
        for steps in product((0, 1), repeat=4)
    ]
    flat = [corner.reshape(-1, 4) for corner in corners]
    cells = np.unique(np.concatenate(flat), axis=0) if size.size else np.zeros((0, 4), int)
    table = _table(tuple(map(tuple, cells.tolist())))
    limits = np.zeros(size.shape)
    for steps, corner in zip(product((0, 1), repeat=4), corners, strict=True):
        shares = [one if step else 1 - one for one, step in zip(weight, steps, strict=True)]
        found = np.array([table[tuple(cell)] for cell in corner.reshape(-1, 4).tolist()])
        limits += np.prod(shares, axis=0) * found.reshape(size.shape)
    return limits


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


_KNOWN: dict[Cell, float] = {}


def _table(cells: tuple[Cell, ...]) -> dict[Cell, float]:
    """Limits of grid cells; each is worked out once in a process."""
    missing = [cell for cell in cells if cell not in _KNOWN]
    for start in range(0, len(missing), 256):
        chunk = missing[start : start + 256]
        _KNOWN.update(zip(chunk, _solve(tuple(chunk)), strict=True))
    return _KNOWN


def _solve(cells: tuple[Cell, ...]) -> tuple[float, ...]:
    places = np.array(cells)
    n, share, months, rate = (
        np.array(axis)[places[:, number]]
        for number, axis in enumerate((N_GRID, SHARE_GRID, MONTHS_GRID, RATE_GRID))
    )
    a, b = share * months * n, (1 - share) * months * n
    goal = np.log(rate)

    def too_often(limit: Floats) -> Floats:
        found = false_item_rate(limit, n, event_weight=a, other_weight=b)
        return np.asarray(np.log(np.maximum(found, 1e-14)) - goal)

    return tuple(_falling_root(too_often, first=np.maximum(0.5, -0.8 * goal)).tolist())


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
    """Moves of the sum in one month: (series, share, from, to) on a lattice up to the cap."""
    held = np.minimum(n, np.maximum(1.0, np.rint(_MOST_EVENTS / share)))
    size = int(np.ceil(CAP * _STATES)) + 1
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
    end = int(CLOSE * _STATES)
    for _ in range(HORIZON):
        both = np.stack([closed, is_open], axis=-2) @ chain
        closed, is_open = both[..., 0, :], both[..., 1, :]
        opened += closed[..., _STATES:].sum(axis=-1)
        is_open[..., _STATES:] += closed[..., _STATES:]
        closed[..., _STATES:] = 0.0
        closed[..., :end] += is_open[..., :end]
        is_open[..., :end] = 0.0
    return opened
