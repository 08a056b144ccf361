"""Constants of charts for means and spreads, by formula instead of a printed table."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaln, ndtr

Floats = NDArray[np.float64]

# Gauss-Legendre nodes are ample: 240 of them reproduce d2 to twelve digits.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(240)
_REACH = 9.5


@dataclass(frozen=True)
class ChartConstants:
    """Factors for samples of n values from a normal curve, named as in print.

    Args:
        d2, d3: mean and standard deviation of the range, in sigma.
        c4: mean of the standard deviation, in sigma.
        A2, A3: half width of limits of a mean, in mean ranges, in mean standard deviations.
        B3, B4: limits of a standard deviation in mean standard deviations; B5, B6 in sigma.
        D1, D2: limits of a range in sigma; D3, D4 in mean ranges.
        E2: half width of limits of single values, in mean ranges.
    """

    d2: float
    d3: float
    c4: float
    A2: float
    A3: float
    B3: float
    B4: float
    B5: float
    B6: float
    D1: float
    D2: float
    D3: float
    D4: float
    E2: float


@lru_cache(maxsize=64)
def chart_constants(n: int) -> ChartConstants:
    """Constants of three-sigma charts for samples of n values.

    Args:
        n: values of a sample, 2 or more.
    Raises: ValueError when n is below 2.
    Method: d2 and d3 by integrals of the distribution of the range, c4 by gamma functions.
    Weak when: single values are far from normal; ranges suffer first.
    References: Tippett, Biometrika 1925; 17: 364-387. NIST/SEMATECH e-Handbook 6.3.2.1.
    Example: n 5 → A2 0.577, A3 1.427, B4 2.089, D4 2.114
    """
    d2, d3 = range_moments(n)
    c4 = float(c4_of(n))
    spread = float(np.sqrt(1 - c4**2))
    return ChartConstants(
        d2=d2,
        d3=d3,
        c4=c4,
        A2=3 / (d2 * np.sqrt(n)),
        A3=3 / (c4 * np.sqrt(n)),
        B3=max(0.0, 1 - 3 * spread / c4),
        B4=1 + 3 * spread / c4,
        B5=max(0.0, c4 - 3 * spread),
        B6=c4 + 3 * spread,
        D1=max(0.0, d2 - 3 * d3),
        D2=d2 + 3 * d3,
        D3=max(0.0, 1 - 3 * d3 / d2),
        D4=1 + 3 * d3 / d2,
        E2=3 / d2,
    )


def c4_of(n: ArrayLike) -> Floats:
    """Mean of the standard deviation of n normal values, in sigma; nan below n = 2.

    Example: n 2 → 0.7979
    """
    size = np.asarray(n, dtype=np.float64)
    safe = np.where(size >= 2, size, 2)
    c4 = np.sqrt(2 / (safe - 1)) * np.exp(gammaln(safe / 2) - gammaln((safe - 1) / 2))
    return np.where(size >= 2, c4, np.nan)


def range_moments(n: int) -> tuple[float, float]:
    """Mean and standard deviation of the range W, from P(W ≤ w) by quadrature."""
    if n < 2:
        raise ValueError(f"a sample of {n} has no range")
    x = _REACH * _NODES
    density = np.exp(-(x**2) / 2) / np.sqrt(2 * np.pi) * _REACH * _WEIGHTS
    w = _REACH * (_NODES + 1)
    inside = ndtr(x[:, None] + w) - ndtr(x)[:, None]
    beyond = 1 - n * density @ inside ** (n - 1)
    width = _REACH * _WEIGHTS
    mean = float(width @ beyond)
    square = float(2 * width @ (w * beyond))
    return mean, float(np.sqrt(square - mean**2))
