"""Two or more distributions held beside each other: test, and size apart from the test."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaincc, kolmogorov, rel_entr

Floats = NDArray[np.float64]

SMALL_EXPECTED = 5.0
"""Cochran, Biometrics 1954: below this expected count the chi-square test is a rough one."""
_HALF = 0.5


@dataclass(frozen=True)
class Homogeneity:
    """chi2 with df degrees of freedom; v: Cramér's V, 0 (alike) to 1; is_rough: small counts."""

    chi2: float
    df: int
    p_value: float
    v: float
    is_rough: bool


def chi_square_homogeneity(counts: ArrayLike) -> Homogeneity:
    """Pearson's chi-square test that the rows share one distribution, with Cramér's V.

    Args: counts: exams, shape (units, bands), whole numbers. Empty rows and columns are left out.
    Returns: Homogeneity; p_value 1 and v 0 where fewer than two rows or columns hold exams.
    Weak when: expected counts are small (is_rough). With many exams the p-value calls any
        difference; V says whether it is large.
    References: Pearson 1900; Cramér, Mathematical Methods of Statistics, 1946, section 21.9.
    Example: [[10, 20], [20, 10]] → chi2 6.67, V 0.33
    """
    table = np.asarray(counts, float)
    table = table[table.sum(axis=1) > 0][:, table.sum(axis=0) > 0]
    total, smaller = table.sum(), min(table.shape) - 1
    if smaller < 1:
        return Homogeneity(0.0, 0, 1.0, 0.0, is_rough=False)
    expected = np.outer(table.sum(axis=1), table.sum(axis=0)) / total
    chi2 = float(((table - expected) ** 2 / expected).sum())
    df = (table.shape[0] - 1) * (table.shape[1] - 1)
    return Homogeneity(
        chi2,
        df,
        float(gammaincc(df / 2, chi2 / 2)),
        float(np.sqrt(chi2 / total / smaller)),
        is_rough=bool((expected < SMALL_EXPECTED).any()),
    )


def stability_index(before: ArrayLike, after: ArrayLike) -> float:
    """Population stability index of two counts over the same bands: Σ (q - p) ln(q / p).

    Args: before, after: exams by band, shape (bands,). Where a band of one is empty, half an exam
        is added to every band of both, since ln 0 has no value.
    Returns: 0 (alike) and up; nan where one holds no exams.
    Weak when: exams are few: by chance alone it is about (bands - 1)(1/n + 1/m).
    References: Siddiqi, Credit Risk Scorecards, 2006; Yurdakul, thesis, 2018, for its size by
        chance.
    Example: [50, 50] and [40, 60] → 0.0405
    """
    p, q = _shares(before, after, needs_all=True)
    return float(((q - p) * np.log(q / p)).sum())


def stability_by_chance(n_before: int, n_after: int, n_bands: int) -> float:
    """The index that two samples of one distribution have on average (Yurdakul 2018)."""
    return (n_bands - 1) * (1 / n_before + 1 / n_after)


def jensen_shannon(before: ArrayLike, after: ArrayLike) -> float:
    """Jensen-Shannon distance of two counts over the same bands, base 2: 0 (alike) to 1.

    Args: before, after: exams by band, shape (bands,).
    Returns: the square root of the divergence in bits; nan where one holds no exams.
    Weak when: exams are few; it has no test of its own.
    References: Lin, IEEE Trans Inf Theory 1991; 37: 145-151.
    Example: [10, 0] and [0, 10] → 1
    """
    p, q = _shares(before, after, needs_all=False)
    middle = (p + q) / 2
    divergence = (rel_entr(p, middle).sum() + rel_entr(q, middle).sum()) / 2
    return float(np.sqrt(max(divergence / np.log(2), 0.0)))


def _shares(before: ArrayLike, after: ArrayLike, *, needs_all: bool) -> tuple[Floats, Floats]:
    one, two = np.asarray(before, float), np.asarray(after, float)
    is_used = (one + two) > 0
    one, two = one[is_used], two[is_used]
    if not (one.sum() and two.sum()):
        return np.full(1, np.nan), np.full(1, np.nan)
    if needs_all and not (one.all() and two.all()):
        one, two = one + _HALF, two + _HALF
    return one / one.sum(), two / two.sum()


@dataclass(frozen=True)
class Kolmogorov:
    """distance: largest gap between two distribution functions; at: value where it is reached."""

    distance: float
    at: float
    p_value: float


def kolmogorov_smirnov(values: ArrayLike, before: ArrayLike, after: ArrayLike) -> Kolmogorov:
    """Two-sample Kolmogorov-Smirnov test on counts by value.

    Args:
        values: distinct values in rising order, shape (values,).
        before, after: exams at each value, shape (values,), each with at least one exam.
    Returns: Kolmogorov; the p-value is the limit for many exams.
    Weak when: exams are few or values are rounded: the p-value is then too large (fewer calls).
    References: Smirnov, Ann Math Stat 1948; 19: 279-281.
    Example: values 1, 2, counts [1, 1] and [0, 2] → distance 0.5 at 1
    """
    one, two = np.asarray(before, float), np.asarray(after, float)
    gaps = np.abs(np.cumsum(one) / one.sum() - np.cumsum(two) / two.sum())
    place = int(gaps.argmax())
    effective = np.sqrt(one.sum() * two.sum() / (one.sum() + two.sum()))
    return Kolmogorov(
        float(gaps[place]),
        float(np.asarray(values, float)[place]),
        float(kolmogorov(effective * gaps[place])),
    )


def quantiles_of_counts(values: ArrayLike, counts: ArrayLike, shares: ArrayLike) -> Floats:
    """Quantiles from counts by value: the smallest value whose cumulated share reaches each.

    Args: values: rising, shape (values,). counts: exams at each. shares: between 0 and 1.
    Returns: shape of shares; type 1 of Hyndman and Fan, so each is a value that occurred.
    Weak when: values were binned: it is right to the width of a bin.
    References: Hyndman and Fan, Am Stat 1996; 50: 361-365.
    Example: values 1, 2, 3, counts 1, 1, 2, share 0.5 → 2
    """
    cumulated = np.cumsum(np.asarray(counts, np.int64))
    wanted = np.ceil(np.asarray(shares, float) * cumulated[-1] - 1e-9)
    places = np.searchsorted(cumulated, np.maximum(wanted, 1))
    return np.asarray(np.asarray(values, float)[places])
