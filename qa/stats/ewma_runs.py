"""How long an EWMA of normal values runs before it calls (average run length)."""

import numpy as np

from qa.stats.cusum_runs import solve_rising

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(180)


def ewma_arl(*, weight: float, width: float, shift: float) -> float:
    """Mean number of standard normal values until a two-sided EWMA leaves its fixed limits.

    Args:
        weight: of the newest value; width: of the limits in sigma of the average (L).
        shift: mean of the values in sigma; 0 when nothing has changed.
    Method: the integral equation of the run length, solved at 180 Gauss-Legendre nodes; the
        average starts at the target.
    Weak when: limits vary with time or n: they are narrower at first and call a little sooner.
    References: Crowder, Technometrics 1987; 29: 401-407. Lucas, Saccucci, Technometrics 1990;
        32: 1-12.
    Example: weight 0.2, width 2.962, shift 0 → 499.7
    """
    edge = width * np.sqrt(weight / (2 - weight))
    y, weights = edge * _NODES, edge * _WEIGHTS / weight
    gap = (y - (1 - weight) * y[:, None]) / weight - shift
    kernel = np.exp(-(gap**2) / 2) / np.sqrt(2 * np.pi) * weights
    lengths = np.linalg.solve(np.eye(len(y)) - kernel, np.ones(len(y)))
    first = np.exp(-((y / weight - shift) ** 2) / 2) / np.sqrt(2 * np.pi) * weights
    return float(1 + first @ lengths)


def ewma_width(*, arl: float, weight: float) -> float:
    """Width of EWMA limits that run `arl` values on average by chance.

    Example: arl 250, weight 0.1 → 2.546
    """
    return solve_rising(lambda width: ewma_arl(weight=weight, width=width, shift=0.0), arl)
