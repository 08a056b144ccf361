"""How long a CUSUM of normal values runs before it calls (average run length)."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Floats = NDArray[np.float64]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(120)


def one_sided_cusum_arl(
    *, limit: float, allowance: float, shift: float, start: float = 0.0
) -> float:
    """Mean number of values until an upper CUSUM of standard normal values reaches its limit.

    Args:
        limit, allowance: decision limit and allowance, in sigma.
        shift: mean of the values, in sigma; 0 when nothing has changed.
        start: head start of the sum.
    Method: the integral equation of the run length, solved at 120 Gauss-Legendre nodes.
    Weak when: the values are not normal (small counts): then bernoulli_cusum.py.
    References: Page 1954; Brook, Evans, Biometrika 1972; 59: 539-549. Vance, J Qual Technol
        1986; 18: 189-193.
    Example: limit 5, allowance 0.5, shift 0 → 930.9
    """
    x = limit * (_NODES + 1) / 2
    weights = limit * _WEIGHTS / 2
    step = allowance - shift

    def row(at: Floats) -> Floats:
        gap = x + step - at[:, None]
        kernel = np.exp(-(gap**2) / 2) / np.sqrt(2 * np.pi) * weights
        return np.column_stack([ndtr(step - at), kernel])

    points = np.concatenate([[0.0], x])
    lengths = np.linalg.solve(np.eye(len(points)) - row(points), np.ones(len(points)))
    return float(1 + row(np.array([start]))[0] @ lengths)


def two_sided_cusum_arl(
    *, limit: float, allowance: float, shift: float, start: float = 0.0
) -> float:
    """Mean number of values until either of two CUSUMs with the same limit calls.

    Args, Method, Weak when: as one_sided_cusum_arl.
    References: Lucas, Crosier, Technometrics 1982; 24: 199-205 (also the head start).
    Example: limit 4, allowance 0.5, shift 0 → 167.7; with start 2 → 148.7
    """

    def side(sign: int, head: float) -> float:
        return one_sided_cusum_arl(limit=limit, allowance=allowance, shift=sign * shift, start=head)

    up, down = side(1, 0.0), side(-1, 0.0)
    if not start:
        return up * down / (up + down)
    return (side(1, start) * down + side(-1, start) * up - up * down) / (up + down)


def cusum_limit(*, arl: float, allowance: float) -> float:
    """Decision limit of a two-sided CUSUM that runs `arl` values on average by chance.

    Example: arl 370, allowance 0.5 → 4.774
    """
    return solve_rising(
        lambda limit: two_sided_cusum_arl(limit=limit, allowance=allowance, shift=0.0), arl
    )


def siegmund_arl(*, limit: float, allowance: float, shift: float) -> float:
    """Quick approximation of one_sided_cusum_arl: 0.8 % off at limit 5, allowance 0.5.

    References: Siegmund, Sequential Analysis, 1985.
    Example: limit 5, allowance 0.5, shift 0 → 938.2 (exact 930.9)
    """
    drift, reach = shift - allowance, limit + 1.166
    if not drift:
        return reach**2
    return float((np.exp(-2 * drift * reach) + 2 * drift * reach - 1) / (2 * drift**2))


def solve_rising(rising: Callable[[float], float], goal: float, *, first: float = 1.0) -> float:
    """The argument above 0 at which a rising function reaches its goal, to ten digits.

    Raises: ValueError when doubling the first guess sixty times does not reach it.
    """
    low, high = 0.0, first
    for _ in range(60):
        if rising(high) >= goal:
            break
        low, high = high, 2 * high
    else:
        raise ValueError(f"no argument reaches {goal}")
    while high - low > 1e-10 * high:
        middle = (low + high) / 2
        if rising(middle) < goal:
            low = middle
        else:
            high = middle
    return (low + high) / 2
