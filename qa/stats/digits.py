"""Last digits: does each come as often as the others, or as often as elsewhere?"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc, chndtr

Floats = NDArray[np.float64]


def digit_chi_square(counts: ArrayLike, *, honest_share: float = 0.0) -> tuple[float, float]:
    """Pearson's test that all ten last digits are equally likely.

    Args:
        counts: of the digits 0 to 9.
        honest_share: by how much of itself a digit's share may honestly differ.
    Returns: (chi-square with 9 degrees of freedom, p-value for more than honest_share).
    Method: p from the noncentral chi-square with n · honest_share².
    Weak when: the middle half of the values spans fewer than about 15 digits, so that honest
        last digits are not equally likely; (nan, 1.0) where nothing was counted.
    References: Pearson, Phil Mag 1900; 50: 157-175.
    Example: 41, 8, 12, 9, 11, 35, 10, 12, 9, 13 → 78.125 and 3.8e-13
    """
    seen = np.asarray(counts, dtype=np.float64)
    n = float(seen.sum())
    if not n:
        return float("nan"), 1.0
    chi2 = float(np.sum((seen - n / 10) ** 2) / (n / 10))
    return chi2, _upper_tail(chi2, 9, n * honest_share**2)


def _upper_tail(chi2: float, freedom: int, noncentral: float) -> float:
    if not noncentral:
        return float(chdtrc(freedom, chi2))
    return float(min(1.0, max(0.0, 1.0 - chndtr(chi2, freedom, noncentral))))


def preference_index(chi2: float, n: int) -> float:
    """100 √(χ² / (9 n)): 0 for none, 100 where one digit is all.

    Weak when: n is small; without any preference it is about 100 / √n.
    Example: 78.125 of 160 → 23.3
    """
    return 100.0 * math.sqrt(max(chi2, 0.0) / (9 * n)) if n else 0.0


def digits_apart(
    own: ArrayLike, others: ArrayLike, *, honest_share: float = 0.2
) -> tuple[float, float]:
    """Do two sets of last digits come from one spread?

    Args:
        own, others: counts of the digits 0 to 9; a digit that neither has is left out.
        honest_share: by how much of itself a digit's share may honestly differ.
    Returns: (Pearson's chi-square of homogeneity, p-value for more than honest_share).
    Weak when: digits are expected fewer than about five times.
    References: Pearson, Phil Mag 1900; 50: 157-175.
    Example: equal counts → 0.0 and 1.0
    """
    table = np.array([own, others], dtype=np.float64)
    table = table[:, table.sum(axis=0) > 0]
    n_own, n_others = table.sum(axis=1)
    if not n_own or not n_others:
        return 0.0, 1.0
    expected = np.outer([n_own, n_others], table.sum(axis=0)) / (n_own + n_others)
    chi2 = float(np.sum((table - expected) ** 2 / expected))
    freedom = max(table.shape[1] - 1, 1)
    noncentral = float(n_own * n_others / (n_own + n_others) * honest_share**2)
    return chi2, _upper_tail(chi2, freedom, noncentral)
