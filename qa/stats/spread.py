"""How far units differ from each other by more than chance (over-dispersion)."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Spread:
    """Distance of each unit from the target, and what differs between units beside chance.

    Args:
        z: distance in standard errors of chance, on the arcsine square-root scale.
        phi: mean squared z after drawing in the extremes; 1 where chance explains all.
        tau2: variance between units on that scale; 0 where chance explains all.
        z_adjusted: distance in standard errors of chance and tau2 together.
    """

    z: Floats
    phi: float
    tau2: float
    z_adjusted: Floats


def unit_spread(
    n_events: ArrayLike,
    n: ArrayLike,
    *,
    target: ArrayLike,
    trim: float = 0.1,
    is_consistent: bool = False,
) -> Spread:
    """Measure how far units differ by more than chance, without letting outliers hide themselves.

    Args:
        n_events, n: events and exams of each unit; every n 1 or more.
        target: share that the units are compared with, between 0 and 1; or one for each, where
            their patients differ.
        trim: part of the units at each end whose z is drawn in to the next quantile.
        is_consistent: divide phi by what drawing in takes away from a normal curve (0.679 for
            a trim of 0.1). The published method does not, and so finds too little spread.
    Returns: Spread.
    Method: z = (asin √share - asin √target) · 2√n; z beyond the trim and 1 - trim quantiles
        (type 7) are set to them; phi = mean z²; tau² = max(0, (I·phi - (I - 1)) /
        (Σw - Σw²/Σw)) with w = 4n; 0 for a single unit.
    Weak when: there are fewer than about ten units, or expected counts are below 1.
    References: Spiegelhalter, Stat Med 2005; 24: 1185-1202. Spiegelhalter et al., J R Stat Soc A
        2012; 175: 1-47.
    """
    events, total = np.asarray(n_events, dtype=np.float64), np.asarray(n, dtype=np.float64)
    weight = 4 * total
    distance = np.arcsin(np.sqrt(events / total)) - np.arcsin(np.sqrt(np.asarray(target)))
    return _spread(distance, weight, trim, is_consistent)


def ratio_spread(
    observed: ArrayLike, expected: ArrayLike, *, scale: str = "sqrt", trim: float = 0.1
) -> Spread:
    """As unit_spread, for observed against expected counts.

    Args:
        observed, expected: of each unit; expected above 0.
        scale: "sqrt", which keeps units without an event, or "log", which cannot: their z is
            nan and they count for nothing.
    Method: z = (√(O/E) - 1) · 2√E, or ln(O/E) · √E; then as unit_spread.
    References: as unit_spread.
    """
    count, should = np.asarray(observed, dtype=np.float64), np.asarray(expected, dtype=np.float64)
    if scale == "sqrt":
        return _spread(np.sqrt(count / should) - 1, 4 * should, trim, False)
    known = count > 0
    found = _spread(np.log(count[known] / should[known]), should[known], trim, False)
    z, adjusted = np.full(count.shape, np.nan), np.full(count.shape, np.nan)
    z[known], adjusted[known] = found.z, found.z_adjusted
    return Spread(z, found.phi, found.tau2, adjusted)


def spread_limits(
    target: float, n: ArrayLike, *, level: float, tau2: float = 0.0, phi: float = 1.0
) -> tuple[Floats, Floats]:
    """Funnel limits of shares that allow for ordinary differences between units.

    Args:
        target: share that units are compared with; n: exams of the unit, above 0.
        level: 0.95 or 0.998.
        tau2: variance between units of unit_spread, added to that of chance; or
        phi: factor on the variance of chance instead. Additive is kinder to large units,
            multiplicative to small ones.
    Returns: (lcl, ucl), 0 to 1.
    Method: sin²(asin √target ± z · √(phi / (4n) + tau2)).
    References: Spiegelhalter, Stat Med 2005; 24: 1185-1202.
    Example: target 0.1176, n 50, tau2 0.0131, level 0.998 → (0.0043, 0.4801)
    """
    size = np.asarray(n, dtype=np.float64)
    half = float(ndtri((1 + level) / 2)) * np.sqrt(phi / (4 * size) + tau2)
    middle = np.arcsin(np.sqrt(target))
    ends = np.clip(np.stack([middle - half, middle + half]), 0.0, np.pi / 2)
    lower, upper = np.sin(ends) ** 2
    return lower, upper


def _spread(distance: Floats, weight: Floats, trim: float, is_consistent: bool) -> Spread:
    z = distance * np.sqrt(weight)
    drawn_in = np.clip(z, np.quantile(z, trim), np.quantile(z, 1 - trim))
    units, phi = len(z), float(np.mean(drawn_in**2))
    if is_consistent:
        phi /= _kept_of_normal(trim)
    room = weight.sum() - (weight**2).sum() / weight.sum()
    tau2 = max(0.0, (units * phi - (units - 1)) / room) if units > 1 else 0.0
    return Spread(z, phi, float(tau2), distance / np.sqrt(1 / weight + tau2))


def _kept_of_normal(trim: float) -> float:
    """Mean square of a standard normal value drawn in at its trim and 1 - trim quantiles."""
    end = float(ndtri(1 - trim))
    density = np.exp(-(end**2) / 2) / np.sqrt(2 * np.pi)
    return float(1 - 2 * trim - 2 * end * density + 2 * trim * end**2)
