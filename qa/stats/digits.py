"""Last digits: do they come as often as a smooth spread of values would have them?"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc, chndtr

Floats = NDArray[np.float64]
_EVEN_GAIN = 1.25
"""What taking the mean of four neighbours on each side off does to every second wave of ten."""


def digit_chi_square(counts: ArrayLike) -> tuple[float, float]:
    """Pearson's test that all ten last digits are equally likely.

    Args:     counts: of the digits 0 to 9.
    Returns:  (chi-square with 9 degrees of freedom, p-value).
    Weak when: the values span few tens; then see smooth_digit_chi_square.
    Example:  41, 8, 12, 9, 11, 35, 10, 12, 9, 13 → 78.125 and 3.8e-13
    """
    seen = np.asarray(counts, dtype=np.float64)
    each = seen.sum() / 10
    chi2 = float(np.sum((seen - each) ** 2) / each)
    return chi2, float(chdtrc(9, chi2))


def preference_index(chi2: float, n: int) -> float:
    """100 √(χ² / (9 n)): 0 for none, 100 where one digit is all.

    Weak when: n is small; without any preference it is about 100 / √n.
    Example: 78.125 of 160 → 23.3
    """
    return 100.0 * math.sqrt(max(chi2, 0.0) / (9 * n)) if n else 0.0


def smooth_digit_chi_square(steps: ArrayLike, *, honest_share: float = 0.05) -> tuple[float, float]:
    """Last digits against what the values beside them let expect.

    Args:
        steps: values counted in the device's own steps (54 for 5.4 kPa in tenths).
        honest_share: by how much of itself a digit's share may honestly differ.
    Returns: (chi-square with 9 degrees of freedom, p-value); p is for more than honest_share.
    Method: each value's count less the mean of the four on each side, summed by last digit, so
        that a slope of the spread does not count; the mean makes every second wave of the ten
        digits 1.25 times as large, which is taken out again. p from the noncentral chi-square
        with n · honest_share².
    Weak when: the middle half of the values spans fewer than about 15 steps.
    References: Pearson, Phil Mag 1900; 50: 157-175 (the statistic); the smoothing is our own and
        is checked by simulation (tests/unit/stats/test_digits.py).
    """
    values = np.asarray(steps, dtype=np.int64)
    if values.size == 0:
        return 0.0, 1.0
    low = int(values.min()) - int(values.min()) % 10 - 10
    counts = np.bincount(values - low, minlength=20).astype(np.float64)
    beside = np.zeros(len(counts) + 8)
    for shift in (0, 1, 2, 3, 5, 6, 7, 8):
        beside[shift : shift + len(counts)] += counts / 8
    excess = np.zeros(len(counts) + 8)
    excess[4:-4] = counts
    excess -= beside
    digits = (np.arange(len(excess)) - 4) % 10
    waves = np.fft.fft(np.bincount(digits, weights=excess, minlength=10))
    waves[0] = 0.0
    waves[2::2] /= _EVEN_GAIN
    apart = np.fft.ifft(waves).real
    chi2 = float(np.sum(apart**2) / (values.size / 10))
    noncentral = values.size * honest_share**2
    return chi2, float(min(1.0, max(0.0, 1.0 - chndtr(chi2, 9, noncentral))))


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
    noncentral = n_own * n_others / (n_own + n_others) * honest_share**2
    return chi2, float(min(1.0, max(0.0, 1.0 - chndtr(chi2, freedom, noncentral))))
