"""Exam by exam against what was expected of each: risk-adjusted CUSUM and VLAD."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def risk_scores(events: ArrayLike, expected: ArrayLike, *, odds_ratio: float) -> Floats:
    """Score of each exam for a change of its odds by odds_ratio.

    Args:
        events: 1 or 0 for each exam; expected: its probability beforehand, between 0 and 1.
        odds_ratio: above 1 to find worse results, below 1 to find better ones.
    Returns: logarithms of the likelihood ratio, to be summed by score_cusum.
    Method: event ln(R / (1 - p + R·p)), no event ln(1 / (1 - p + R·p)).
    Weak when: the expected probabilities fit badly; the CUSUM then finds the misfit.
    References: Steiner et al., Biostatistics 2000; 1: 441-452.
    Example: p 0.0246, odds ratio 2 → event 0.669, no event -0.0243
    """
    happened, p = np.asarray(events, dtype=np.float64), np.asarray(expected, dtype=np.float64)
    return np.asarray(happened * np.log(odds_ratio) - np.log(1 - p + odds_ratio * p))


def expected_minus_observed(events: ArrayLike, expected: ArrayLike) -> Floats:
    """VLAD: running sum of expected minus observed events; it falls where there are too many.

    Args: as risk_scores, exams in the order of time.
    Weak when: read as a test: it wanders by chance alone; the CUSUM beside it decides.
    References: Lovegrove et al., Lancet 1997; 350: 1128-1130.
    Example: events 0, 1 with 0.1 expected each → 0.1, -0.8
    """
    gap = np.asarray(expected, dtype=np.float64) - np.asarray(events, dtype=np.float64)
    return np.cumsum(gap, axis=0)
