"""Funnels of units with different patients: found against expected, and how units differ."""

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.special import expit, logit, ndtri

from qa.stats.limits import funnel_limits
from qa.stats.poisson import exact_poisson_interval
from qa.stats.random_effects import shrunken
from qa.stats.spread import unit_spread

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_MOST_STEPS = 60
_GROUP = ("measure_id", "criteria_id")
MICRO = 1_000_000


def expected_sum() -> pl.Expr:
    """Events expected over months; null where a month with exams has none.

    Added up in millionths, so that the order of rows does not matter.
    """
    is_whole = (pl.col("expected").is_not_null() | (pl.col("n") == 0)).all()
    sums = (pl.col("expected") * MICRO).round().cast(pl.Int64).sum() / MICRO
    return pl.when(is_whole).then(sums).alias("expected")


def adjust_funnel(points: pl.DataFrame) -> pl.DataFrame:
    """Hold every unit against what was to be expected of its patients.

    Args:
        points: funnel points of one kind of unit with n_events, n, centre and limits, sorted;
            expected as the frozen model gives it, null where nothing is adjusted.
    Returns: the same rows with the columns of FUNNEL_POINTS from expected to tau2; limits of
        adjusted units are those of their own patients, brought to the scale of `adjusted`.
    Method: expected is first brought to the level of all units together (one step on log odds
        for all, so that expected adds up to found): a network that has changed as a whole sets
        nobody apart. ratio = found / expected, its interval exact Poisson; adjusted = ratio
        times the share of all units, taken on the other events where these are fewer. How far
        units differ by more than chance: qa/stats/spread.py, z beyond the outer tenths drawn
        in, made consistent. shrunken: the unit's distance from its expectation times
        tau² / (tau² + chance), empirical Bayes.
    Weak when: units hardly share patients; then no adjustment compares them.
    References: Spiegelhalter, Stat Med 2005; 24: 1185-1202. Efron, Morris, J Am Stat Assoc 1975;
        70: 311-319.
    """
    if points.is_empty():
        names = ("ratio", "ratio_lower", "ratio_upper", "adjusted", *_SPREAD)
        return points.with_columns(pl.lit(None, dtype=pl.Float64).alias(name) for name in names)
    group = points.select(pl.struct(_GROUP).rle_id()).to_series().to_numpy().astype(np.int64)
    events, n, centre = (points[name].to_numpy().astype(float) for name in _NUMBERS)
    given = points["expected"].cast(pl.Float64).to_numpy()
    own = own_shares(given, events, n, group)
    is_adjusted = np.isfinite(own)
    target = np.where(is_adjusted, own, centre)
    found = _spread_and_shrunken(events, n, target, centre, group)
    found |= _ratios(events, n, own)
    found["adjusted"] = standardised(events / np.maximum(n, 1), own, centre)
    found["expected"] = np.where(is_adjusted, n * own, np.nan)
    for level, name in ((0.95, "95"), (0.998, "998")):
        ends = funnel_limits(np.where(is_adjusted, own, np.nan), n, level=level)
        for end, limit in zip(("lcl", "ucl"), ends, strict=True):
            old = points[f"{end}{name}"].to_numpy()
            found[f"{end}{name}"] = np.where(
                is_adjusted, np.clip(standardised(limit, own, centre), 0.0, 1.0), old
            )
    return points.with_columns(
        pl.Series(name, values, dtype=pl.Float64).fill_nan(None) for name, values in found.items()
    )


_NUMBERS = ("n_events", "n", "centre")


def own_shares(expected: Floats, events: Floats, n: Floats, group: Ints) -> Floats:
    """Share expected of each unit's exams at the level of its group; nan where not adjusted.

    Args: expected: events that the frozen model expects; nan where it does not say. group:
        number of the group of units that are compared, from 0.
    Method: log odds of expected / n plus one step for each group, by Newton, so that expected
        events add up to those found. A group in which a unit has no expectation is not adjusted.
    """
    size = int(group.max()) + 1
    known = np.isfinite(expected) | (n == 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        odds = logit(np.clip(expected / n, 1e-9, 1 - 1e-9))
    odds = np.where(n > 0, odds, 0.0)
    total, found = np.bincount(group, n, size), np.bincount(group, events, size)
    is_whole = np.bincount(group, ~known, size) == 0
    can = is_whole & (found > 0) & (found < total)
    step = np.zeros(size)
    for _ in range(_MOST_STEPS):
        p = expit(np.where(known, odds, 0.0) + step[group])
        gap = found - np.bincount(group, n * p, size)
        slope = np.bincount(group, n * p * (1 - p), size)
        move = np.clip(np.where(can, gap / np.maximum(slope, 1e-12), 0.0), -1.0, 1.0)
        step += move
        if np.abs(move).max() < 1e-12:
            break
    return np.where(can[group] & (n > 0), expit(odds + step[group]), np.nan)


def standardised(share: Floats, own: Floats, centre: Floats) -> Floats:
    """Indirectly standardised share: share over own times centre, on the rarer kind of events."""
    with np.errstate(divide="ignore", invalid="ignore"):
        direct = share / own * centre
        other = 1 - (1 - share) / (1 - own) * (1 - centre)
    return np.asarray(np.where(centre <= 0.5, direct, other))


def _ratios(events: Floats, n: Floats, own: Floats) -> dict[str, Floats]:
    lower, upper = exact_poisson_interval(events)
    with np.errstate(divide="ignore", invalid="ignore"):
        expected = n * own
        return {
            "ratio": events / expected,
            "ratio_lower": lower / expected,
            "ratio_upper": upper / expected,
        }


def _spread_and_shrunken(
    events: Floats, n: Floats, target: Floats, centre: Floats, group: Ints
) -> dict[str, Floats]:
    found = {name: np.full(len(n), np.nan) for name in _SPREAD}
    z = float(ndtri(0.975))
    for number in range(int(group.max()) + 1):
        at = np.flatnonzero((group == number) & (n > 0))
        if len(at) < 2 or not 0 < centre[at[0]] < 1:
            continue
        spread = unit_spread(events[at], n[at], target=target[at], is_consistent=True)
        chance = 1 / (4 * n[at])
        distance = np.arcsin(np.sqrt(events[at] / n[at])) - np.arcsin(np.sqrt(target[at]))
        guess, error = shrunken(distance, chance, centre=0.0, tau2=spread.tau2)
        middle = np.arcsin(np.sqrt(centre[at]))
        for name, value in zip(
            _SPREAD[:3], (guess, guess - z * error, guess + z * error), strict=True
        ):
            found[name][at] = np.sin(np.clip(middle + value, 0.0, np.pi / 2)) ** 2
        found["phi"][at], found["tau2"][at] = spread.phi, spread.tau2
    return found


_SPREAD = ("shrunken", "shrunken_lower", "shrunken_upper", "phi", "tau2")
