"""Many tests at once: which to believe at a stated share of false ones."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def benjamini_hochberg(p_values: ArrayLike) -> Floats:
    """Adjusted p-values: a test is kept at q where its adjusted value is q or less.

    Args:
        p_values: one for each test, 0 to 1.
    Returns: adjusted values, same order.
    Method: step-up: p · m / rank, made monotone from the largest down.
    Weak when: tests depend on each other in opposite ways (not so for units of one network).
    References: Benjamini, Hochberg, J R Stat Soc B 1995; 57: 289-300.
    Example: the 15 p-values of the paper at 0.05 → 4 kept, 3 by Bonferroni
    """
    p = np.asarray(p_values, dtype=np.float64)
    order = np.argsort(p, kind="stable")
    ranked = p[order] * len(p) / np.arange(1, len(p) + 1)
    adjusted = np.empty_like(p)
    adjusted[order] = np.minimum(np.minimum.accumulate(ranked[::-1])[::-1], 1.0)
    return adjusted


def bonferroni(p_values: ArrayLike) -> Floats:
    """p-values times their number, at most 1: no false one at all, with the chance stated.

    Example: 0.01 and 0.5 → 0.02 and 1
    """
    p = np.asarray(p_values, dtype=np.float64)
    return np.minimum(p * len(p), 1.0)
