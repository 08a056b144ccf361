"""Limits for shares around a known centre line: control charts and funnels."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import bdtr, bdtrc, gammaln, ndtri, xlog1py, xlogy

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


def p_chart_limits(
    centre: ArrayLike, n: ArrayLike, *, sigmas: float = 3.0
) -> tuple[Floats, Floats]:
    """Limits of a p-chart: how far a month's share strays by chance when nothing has changed.

    Args:
        centre: centre line as a share.
        n: exams of the month.
        sigmas: width.
    Returns: (lcl, ucl) clipped to 0 to 1; nan where n is 0 or centre is nan.
    Method: centre ± sigmas · sqrt(centre · (1 - centre) / n), each month by its own n.
    Weak when: n · centre or n · (1 - centre) is below 5 (then binomial_limits), or where months
        differ by more than chance.
    References: Shewhart 1931; NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2.
    Example: centre 0.2313, n 50 → (0.0524, 0.4102)
    """
    share, total = _inputs(centre, n)
    with np.errstate(divide="ignore", invalid="ignore"):
        half = np.where(total > 0, sigmas * np.sqrt(share * (1 - share) / total), np.nan)
    return np.clip(share - half, 0.0, 1.0), np.clip(share + half, 0.0, 1.0)


def binomial_limits(
    centre: ArrayLike, n: ArrayLike, *, tail: float = 0.00135
) -> tuple[Floats, Floats]:
    """Exact limits: a share strictly outside has a probability of at most `tail` on its side.

    Args:
        centre: centre line as a share.
        n: exams of the month.
        tail: probability on each side; 0.00135 is that of three sigma of a normal curve.
    Returns: (lcl, ucl) as possible shares k / n; nan where n is 0 or centre is nan.
    Method: ucl is the smallest k / n with P(K > k) ≤ tail, lcl the largest with P(K < k) ≤ tail.
    Weak when: exams are not independent; the centre line itself rests on few exams.
    References: Clopper, Pearson, Biometrika 1934; 26: 404-413 (exact binomial tails).
    Example: centre 0.05, n 20 → (0.0, 0.25)
    """
    share, total = _inputs(centre, n)
    lower, upper = np.full(share.shape, np.nan), np.full(share.shape, np.nan)
    known = (total > 0) & ~np.isnan(share)
    size = total[known].astype(np.int64)
    lower[known] = _quantile(tail, share[known], size, is_upper=False) / size
    upper[known] = _quantile(tail, share[known], size, is_upper=True) / size
    return lower, upper


def funnel_limits(centre: ArrayLike, n: ArrayLike, *, level: float) -> tuple[Floats, Floats]:
    """Exact funnel limits, interpolated so that they do not jump from one n to the next.

    Args:
        centre: share that all units are compared with.
        n: exams of the unit.
        level: 0.95 or 0.998, the part of units inside when all are alike.
    Returns: (lcl, ucl) clipped to 0 to 1; nan where n is 0 or centre is nan.
    Method: r is the smallest count with P(R ≤ r) ≥ p; the limit is (r - a) / n with
        a = (P(R ≤ r) - p) / P(R = r), for p = (1 - level) / 2 and 1 - (1 - level) / 2. Where
        only r = n reaches p the upper limit is 1: no share can lie beyond it.
    Weak when: units differ by more than chance for reasons nobody can mend (other patients).
    References: Spiegelhalter, Stat Med 2005; 24: 1185-1202, appendix A.1.1.
    Example: centre 0.2, n 50, level 0.998 → (0.0348, 0.3791)
    """
    share, total = _inputs(centre, n)
    lower, upper = np.full(share.shape, np.nan), np.full(share.shape, np.nan)
    known = (total > 0) & ~np.isnan(share)
    p, size, tail = share[known], total[known].astype(np.int64), (1 - level) / 2
    low = _quantile(tail, p, size, is_upper=False)
    high = _quantile(tail, p, size, is_upper=True)
    over_low = (bdtr(low, size, p) - tail) / _binomial_mass(low, size, p)
    over_high = (tail - bdtrc(high, size, p)) / _binomial_mass(high, size, p)
    lower[known] = np.clip((low - over_low) / size, 0.0, 1.0)
    upper[known] = np.where(high < size, np.clip((high - over_high) / size, 0.0, 1.0), 1.0)
    return lower, upper


def _inputs(centre: ArrayLike, n: ArrayLike) -> tuple[Floats, Floats]:
    share, total = np.broadcast_arrays(
        np.asarray(centre, dtype=np.float64), np.asarray(n, dtype=np.float64)
    )
    return share, total


def _quantile(tail: float, p: Floats, n: NDArray[np.int64], *, is_upper: bool) -> Floats:
    """Smallest count r with P(R > r) ≤ tail (upper) or P(R ≤ r) ≥ tail (lower).

    A normal guess with a term for skewness is off by few counts; stepping mends it exactly.
    """

    def reaches(r: Floats, at: NDArray[np.intp]) -> Bools:
        if is_upper:
            return np.asarray(bdtrc(r, n[at], p[at]) <= tail)
        return np.asarray(bdtr(r, n[at], p[at]) >= tail)

    z = float(ndtri(1 - tail if is_upper else tail))
    guess = n * p + z * np.sqrt(n * p * (1 - p)) + (z**2 - 1) * (1 - 2 * p) / 6
    r = np.clip(np.rint(guess), 0, n).astype(np.float64)
    at = np.flatnonzero(~reaches(r, np.arange(len(r))))
    while len(at):
        r[at] += 1
        at = at[~reaches(r[at], at)]
    at = np.flatnonzero(r > 0)
    while len(at):
        at = at[reaches(r[at] - 1, at)]
        r[at] -= 1
        at = at[r[at] > 0]
    return r


def _binomial_mass(k: Floats, n: NDArray[np.int64], p: Floats) -> Floats:
    log_ways = gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1)
    return np.asarray(np.exp(log_ways + xlogy(k, p) + xlog1py(n - k, -p)))
