"""Scores of a participant of a round, with the limits of ISO 13528 and ISO/IEC 17043."""

from enum import StrEnum

import numpy as np

WARNING, ACTION = 2.0, 3.0
NEGLIGIBLE = 0.3
"""Uncertainty of the assigned value below this share of sigma may be left out (z instead of z′)."""


class ScoreClass(StrEnum):
    """What a score says, in the standard's words."""

    ACCEPTABLE = "acceptable"
    WARNING = "warning"
    ACTION = "action"


def z_score(x: float, assigned: float, sigma: float) -> float:
    """Distance from the assigned value in standard deviations for the round.

    Args:       sigma: standard deviation for proficiency assessment, above 0.
    References: ISO 13528:2022, 9.4.
    Example:    5.6 against 5.0 with 0.25 → 2.4
    """
    return (x - assigned) / sigma


def z_prime_score(x: float, assigned: float, sigma: float, *, u_assigned: float) -> float:
    """The same where the assigned value is itself uncertain.

    Args: u_assigned: standard uncertainty of the assigned value. References: ISO 13528:2022, 9.5.
    """
    return (x - assigned) / float(np.hypot(sigma, u_assigned))


def zeta_score(x: float, assigned: float, *, u_x: float, u_assigned: float) -> float:
    """Distance in units of what both state as their standard uncertainty.

    Weak when: a participant states too large an uncertainty: it then always passes.
    References: ISO 13528:2022, 9.6.
    """
    return (x - assigned) / float(np.hypot(u_x, u_assigned))


def en_score(x: float, assigned: float, *, expanded_x: float, expanded_assigned: float) -> float:
    """The same with expanded uncertainties (coverage factor 2). References: ISO 13528:2022, 9.7."""
    return (x - assigned) / float(np.hypot(expanded_x, expanded_assigned))


def score_class(score: float) -> ScoreClass:
    """Of z, z′ and ζ: up to 2 acceptable, from 3 action, between them warning.

    References: ISO 13528:2022, 9.4.2.
    """
    size = abs(score)
    if size >= ACTION:
        return ScoreClass.ACTION
    return ScoreClass.WARNING if size > WARNING else ScoreClass.ACCEPTABLE


def en_class(score: float) -> ScoreClass:
    """Of E_n: below 1 acceptable, from 1 action. References: ISO 13528:2022, 9.7.2."""
    return ScoreClass.ACTION if abs(score) >= 1 else ScoreClass.ACCEPTABLE


def is_negligible(u_assigned: float, sigma: float) -> bool:
    """Whether z will do. References: ISO 13528:2022, 7.2.3 (u below 0.3 sigma)."""
    return u_assigned < NEGLIGIBLE * sigma
