"""Has a mix moved? Tests and sizes of the difference between two distributions, in words.

A test alone calls every difference where exams are many, so each statistic carries its size.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from qa.stats.mix_tests import (
    chi_square_homogeneity,
    jensen_shannon,
    kolmogorov_smirnov,
    quantiles_of_counts,
    stability_by_chance,
    stability_index,
)

PROPOSAL = "proposal of this tool"
SIZES: dict[str, tuple[tuple[float, float], str]] = {
    "V": ((0.1, 0.3), "Cohen, Statistical Power Analysis, 1988 (from memory, verify)"),
    "PSI": ((0.1, 0.25), "Siddiqi, Credit Risk Scorecards, 2006: a convention of lending"),
    "JS": ((0.1, 0.2), PROPOSAL),
    "D": ((0.1, 0.2), PROPOSAL),
}
"""Statistic → (from here on a moderate difference, from here on a large one) and who says so."""


@dataclass(frozen=True)
class MixStatistic:
    """One statistic. p_value: None where it has no test. chance: what equal mixes give on average.
    size: small, moderate or large; source: who says what is large."""

    name: str
    value: float
    p_value: float | None
    chance: float | None
    size: str
    source: str


def size_word(key: str, value: float) -> str:
    """Example: size_word('V', 0.2) → 'moderate'"""
    (moderate, large), _ = SIZES[key]
    return "large" if value >= large else "moderate" if value >= moderate else "small"


def compare_bands(before: ArrayLike, after: ArrayLike) -> tuple[MixStatistic, ...]:
    """Counts over the bands of one grade table, in two periods or places, held together.

    Args: before, after: exams by band, shape (bands,).
    Returns: chi-square with Cramér's V, stability index, Jensen-Shannon distance; empty where one
        holds no exams.
    """
    one, two = np.asarray(before), np.asarray(after)
    if not (one.sum() and two.sum()):
        return ()
    test = chi_square_homogeneity([one, two])
    index = stability_index(one, two)
    chance = stability_by_chance(int(one.sum()), int(two.sum()), one.size)
    distance = jensen_shannon(one, two)
    return (
        _made("Chi-square, Cramér's V", "V", test.v, p_value=test.p_value),
        _made("Population stability index", "PSI", index, chance=chance),
        _made("Jensen-Shannon distance", "JS", distance),
    )


def compare_values(values: ArrayLike, before: ArrayLike, after: ArrayLike) -> MixStatistic:
    """Two-sample Kolmogorov-Smirnov on exams by value.

    Args: values: rising, shape (values,). before, after: exams at each, each with an exam.
    """
    test = kolmogorov_smirnov(values, before, after)
    return _made("Kolmogorov-Smirnov distance", "D", test.distance, p_value=test.p_value)


def _made(
    name: str,
    key: str,
    value: float,
    *,
    p_value: float | None = None,
    chance: float | None = None,
) -> MixStatistic:
    return MixStatistic(name, value, p_value, chance, size_word(key, value), SIZES[key][1])


def compare_units(counts: ArrayLike) -> MixStatistic:
    """Whether units share one mix: chi-square test of homogeneity with Cramér's V.

    Args: counts: exams by unit and band, shape (units, bands).
    """
    test = chi_square_homogeneity(counts)
    return _made("Chi-square, Cramér's V", "V", test.v, p_value=test.p_value)


def value_quantiles(
    values: ArrayLike, counts: ArrayLike, shares: Sequence[float]
) -> tuple[float, ...]:
    """Quantiles of exams by value; each is a value that occurred, and counts add up exactly."""
    return tuple(float(one) for one in quantiles_of_counts(values, counts, shares))
