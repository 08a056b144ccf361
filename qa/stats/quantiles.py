"""Sample quantiles by their published type; the same ten readings differ by type."""

import numpy as np
from numpy.typing import ArrayLike

# Hyndman and Fan's numbers, which R uses too → the same definitions by numpy's names.
METHODS: dict[int, str] = {
    1: "inverted_cdf",
    2: "averaged_inverted_cdf",
    3: "closest_observation",
    4: "interpolated_inverted_cdf",
    5: "hazen",
    6: "weibull",
    7: "linear",
    8: "median_unbiased",
    9: "normal_unbiased",
}


def quantile(values: ArrayLike, q: float, *, type: int) -> float:
    """Quantile of a sample by one of the nine published definitions.

    Args:
        values: the sample, at least one value.
        q: share, 0 to 1.
        type: 1 to 9 as Hyndman and Fan number them; a criteria set states which one it uses.
    Returns: the quantile; nan for an empty sample.
    Raises: ValueError for an unknown type.
    Weak when: two figures made by different types are compared (IQR/median of ten readings
        can be 0.25 by type 7 and 0.33 by type 6).
    References: Hyndman, Fan, Am Stat 1996; 50: 361-365.
    Example: 3.1 4.2 4.4 5.0 5.3 6.8 7.5 7.9 9.4 12.6, q 0.25 → 4.55 (type 7), 4.35 (type 6)
    """
    if type not in METHODS:
        raise ValueError(f"quantile type {type} is not one of 1 to 9")
    sample = np.asarray(values, dtype=np.float64)
    if not sample.size:
        return float("nan")
    return float(np.quantile(sample, q, method=METHODS[type]))  # type: ignore[call-overload]


_OFFSETS: dict[int, tuple[float, float]] = {
    4: (0.0, 0.0),
    5: (0.5, 0.0),
    6: (0.0, 1.0),
    7: (1.0, -1.0),
    8: (1 / 3, 1 / 3),
    9: (3 / 8, 1 / 4),
}
"""Continuous types: the place of the quantile is n·q + a + b·q."""
_FUZZ = 4 * np.finfo(np.float64).eps


def row_quantiles(samples: ArrayLike, counts: ArrayLike, q: float, *, type: int) -> np.ndarray:
    """The quantile of many samples at once, by the same nine definitions.

    Args:
        samples: one sample in each row, its values first; what follows them is not read.
        counts: how many values each row holds.
        q: share, 0 to 1.
        type: 1 to 9.
    Returns: one quantile for each row; nan for an empty sample.
    Raises: ValueError for an unknown type.
    References: Hyndman, Fan, Am Stat 1996; 50: 361-365.
    Example: [[3, 1, 2, 0]], [3], 0.5, type 7 → [2.0]
    """
    if type not in METHODS:
        raise ValueError(f"quantile type {type} is not one of 1 to 9")
    matrix, n = np.asarray(samples, dtype=np.float64), np.asarray(counts, dtype=np.int64)
    result = np.full(n.size, np.nan)
    if not matrix.size:
        return result
    outside = np.arange(matrix.shape[1]) >= n[:, None]
    matrix = np.sort(np.where(outside, np.inf, matrix), axis=1)
    matrix[np.isinf(matrix)] = 0.0
    below, weight = _places(n, q, type)
    rows, last = np.arange(n.size), np.maximum(n - 1, 0)
    low = matrix[rows, np.clip(below - 1, 0, last)]
    high = matrix[rows, np.clip(below, 0, last)]
    known = n > 0
    result[known] = (low + weight * (high - low))[known]
    return result


def _places(n: np.ndarray, q: float, type: int) -> tuple[np.ndarray, np.ndarray]:
    """Rank of the value below (1 is the smallest) and how far to go to the next one."""
    if type in _OFFSETS:
        a, b = _OFFSETS[type]
        place = n * q + a + b * q
        below = np.floor(place + _FUZZ).astype(np.int64)
        weight = place - below
        return below, np.where(np.abs(weight) < _FUZZ, 0.0, weight)
    place = n * q - (0.5 if type == 3 else 0.0)
    below = np.floor(place + _FUZZ).astype(np.int64)
    is_on = np.abs(place - below) < _FUZZ
    if type == 1:
        return below, np.where(is_on, 0.0, 1.0)
    if type == 2:
        return below, np.where(is_on, 0.5, 1.0)
    return below, np.where(is_on & (below % 2 == 0), 0.0, 1.0)
