"""Variance between units beyond that of chance, and the mean over units."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike


@dataclass(frozen=True)
class RandomEffects:
    """Result of random_effects: tau2 between units, Q, I² as a share, mean and its error."""

    tau2: float
    q: float
    i2_share: float
    estimate: float
    standard_error: float


def random_effects(effects: ArrayLike, variances: ArrayLike) -> RandomEffects:
    """Mean over units that truly differ, and by how much they do.

    Args:
        effects: one figure for each unit, on a scale where it is nearly normal.
        variances: of chance, one for each unit, above 0.
    Method: moments of DerSimonian and Laird.
    Weak when: there are few units: tau2 is then hardly known.
    References: DerSimonian, Laird, Control Clin Trials 1986; 7: 177-188.
    Example: 13 trials of a vaccine, log risk ratio → -0.714, tau2 0.309, I² 92 %
    """
    y, v = np.asarray(effects, dtype=np.float64), np.asarray(variances, dtype=np.float64)
    w = 1 / v
    fixed = (w * y).sum() / w.sum()
    q, degrees = float((w * (y - fixed) ** 2).sum()), len(y) - 1
    room = w.sum() - (w**2).sum() / w.sum()
    tau2 = max(0.0, (q - degrees) / room) if degrees else 0.0
    again = 1 / (v + tau2)
    estimate = float((again * y).sum() / again.sum())
    i2 = max(0.0, (q - degrees) / q) if q > 0 else 0.0
    return RandomEffects(tau2, q, i2, estimate, float(np.sqrt(1 / again.sum())))


def shrunken(
    effects: ArrayLike, variances: ArrayLike, *, centre: float, tau2: float
) -> tuple[np.ndarray, np.ndarray]:
    """Best guess for each unit: its own figure, drawn to the centre the less it rests on.

    Args:
        centre, tau2: of random_effects.
    Returns: (estimates, standard errors).
    Method: (tau2 · own + variance · centre) / (tau2 + variance).
    Weak when: read as a verdict on one unit: it is fair on average, kind to small bad ones.
    References: Efron, Morris, J Am Stat Assoc 1975; 70: 311-319.
    Example: own 2, variance 1, centre 0, tau2 1 → 1.0, standard error 0.707
    """
    y, v = np.asarray(effects, dtype=np.float64), np.asarray(variances, dtype=np.float64)
    share = tau2 / (tau2 + v)
    return share * y + (1 - share) * centre, np.sqrt(share * v)
