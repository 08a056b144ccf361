"""Observed against expected counts: ratio, intervals and funnel limits."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaincinv, gammaln, ndtri, pdtr, xlogy

Floats = NDArray[np.float64]


def exact_poisson_interval(observed: ArrayLike, *, level: float = 0.95) -> tuple[Floats, Floats]:
    """Exact interval of the mean of a count.

    Args:
        observed: counts, 0 or more.
    Returns: (lower, upper); divide by expected for O/E.
    Method: quantiles of the gamma (half chi-square) distribution.
    Weak when: counts are overdispersed. One library prints 0.492 for 4 against 3.3 as exact
        lower end; it is 0.330.
    References: Garwood, Biometrika 1936; 28: 437-442.
    Example: 0 → (0, 3.689)
    """
    count = np.asarray(observed, dtype=np.float64)
    tail = (1 - level) / 2
    lower = np.where(count > 0, gammaincinv(np.maximum(count, 1e-12), tail), 0.0)
    return lower, gammaincinv(count + 1, 1 - tail)


def byar_interval(observed: ArrayLike, *, level: float = 0.95) -> tuple[Floats, Floats]:
    """Byar's approximation of exact_poisson_interval, good from about 10 events.

    Method: O · (1 - 1/(9O) - z/(3√O))³, and with O + 1 and + for the upper end; lower is 0 for 0.
    References: Breslow, Day, Statistical Methods in Cancer Research II, 1987, 69.
    Example: 8 events against 3.59 expected → 0.9595 and 4.3911 times expected
    """
    count = np.asarray(observed, dtype=np.float64)
    z = float(ndtri(1 - (1 - level) / 2))
    safe, more = np.where(count > 0, count, 1.0), count + 1
    lower = safe * (1 - 1 / (9 * safe) - z / (3 * np.sqrt(safe))) ** 3
    upper = more * (1 - 1 / (9 * more) + z / (3 * np.sqrt(more))) ** 3
    return np.where(count > 0, lower, 0.0), upper


def poisson_funnel_limits(expected: ArrayLike, *, level: float) -> tuple[Floats, Floats]:
    """Exact funnel limits of O/E, interpolated so that they do not jump.

    Args:
        expected: expected counts, above 0; level: 0.95 or 0.998.
    Returns: (lcl, ucl) of O/E; lcl not below 0.
    Method: r is the smallest count with P(R ≤ r) ≥ p; the limit is (r - a) / E with
        a = (P(R ≤ r) - p) / P(R = r).
    References: Spiegelhalter, Stat Med 2005; 24: 1185-1202, appendix A.1.1.
    Example: expected 10, level 0.998 → (0.122, 2.066)
    """
    mean = np.atleast_1d(np.asarray(expected, dtype=np.float64))
    ends = []
    for p in ((1 - level) / 2, (1 + level) / 2):
        r = _quantile(p, mean)
        mass = np.exp(xlogy(r, mean) - mean - gammaln(r + 1))
        ends.append(np.maximum(0.0, (r - (pdtr(r, mean) - p) / mass) / mean))
    shape = np.shape(expected)
    return ends[0].reshape(shape), ends[1].reshape(shape)


def classify_ratios(observed: ArrayLike, expected: ArrayLike) -> NDArray[np.str_]:
    """Where O/E lies: above or below the 99.8 % or 95 % limits of chance, or inside.

    Method: the exact interval of O holds E, or does not; 99.8 % goes before 95 %.
    Example: 151 against 106.4 → "above_99.8"
    """
    mean = np.asarray(expected, dtype=np.float64)
    found = np.full(mean.shape, "inside", dtype="<U10")
    for level, name in ((0.95, "95"), (0.998, "99.8")):
        low, high = exact_poisson_interval(observed, level=level)
        found[low > mean] = f"above_{name}"
        found[high < mean] = f"below_{name}"
    return found


def _quantile(p: float, mean: Floats) -> Floats:
    """Smallest count r with P(R ≤ r) ≥ p, by stepping from a normal guess."""
    z = float(ndtri(p))
    r = np.maximum(0.0, np.rint(mean + z * np.sqrt(mean) + (z**2 - 1) / 6))
    while (low := pdtr(r, mean) < p).any():
        r[low] += 1
    while (high := (r > 0) & (pdtr(np.maximum(r - 1, 0), mean) >= p)).any():
        r[high] -= 1
    return r
