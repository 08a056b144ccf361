"""Agreement of classes beyond chance."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Kappa:
    """value: 1 full agreement, 0 what chance gives. observed, by_chance: weighted shares."""

    value: float
    se: float
    observed: float
    by_chance: float

    def interval(self, *, level: float = 0.95) -> tuple[float, float]:
        half = float(ndtri((1 + level) / 2)) * self.se
        return self.value - half, min(self.value + half, 1.0)


def agreement_weights(n_classes: int, *, kind: str = "quadratic") -> Floats:
    """Credit for each pair of classes, 1 on the diagonal.

    Args: kind: "none", "linear" or "quadratic" (by distance of ordered classes).
    """
    if kind == "none" or n_classes < 2:
        return np.eye(n_classes)
    distance = np.abs(np.subtract.outer(np.arange(n_classes), np.arange(n_classes)))
    share = distance / (n_classes - 1)
    return 1 - (share if kind == "linear" else share**2)


def weighted_kappa(counts: ArrayLike, *, weights: ArrayLike | None = None) -> Kappa:
    """Agreement of two raters over the same things.

    Args:
        counts: square table, first rater down, second across; counts or, for the value alone,
            shares.
        weights: credit for each pair, larger for better; None: 1 on the diagonal.
    Returns: Kappa; nan where both use one class only.
    Method: (observed - by chance) / (1 - by chance), large-sample standard error.
    Weak when: nearly all things fall in one class, or there are fewer than some thirty of them.
    References: Cohen, Psychol Bull 1968; 70: 213-220. Fleiss, Cohen and Everitt, Psychol Bull 1969;
        72: 323-327.
    """
    table = np.asarray(counts, dtype=np.float64)
    n = table.sum()
    w = np.eye(len(table)) if weights is None else np.asarray(weights, dtype=np.float64)
    if n == 0:
        return Kappa(*[float("nan")] * 4)
    p = table / n
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    observed, chance = float((w * p).sum()), float((w * np.outer(rows, columns)).sum())
    if chance >= w.max():
        return Kappa(float("nan"), float("nan"), observed, chance)
    top = float(w.max())
    value = (observed - chance) / (top - chance)
    means = (w @ columns)[:, None] + (rows @ w)[None]
    part = (p * (w * (1 - chance) - means * (1 - observed)) ** 2).sum()
    variance = (part - (observed * chance - 2 * chance + observed) ** 2) / (n * (1 - chance) ** 4)
    return Kappa(value, float(np.sqrt(max(variance, 0.0))), observed, chance)


def weights_of_disagreement(penalties: ArrayLike) -> Floats:
    """Credit from penalties as Cohen printed them: 1 - penalty / largest penalty."""
    v = np.asarray(penalties, dtype=np.float64)
    return 1 - v / v.max()


@dataclass(frozen=True)
class FleissKappa:
    """Of several raters; by_class: each class against all others; z: against no agreement."""

    value: float
    by_class: tuple[float, ...]
    z: float


def fleiss_kappa(counts: ArrayLike) -> FleissKappa:
    """Agreement of several raters, each thing rated equally often.

    Args:   counts: one row per thing, one column per class: raters who chose it.
    Raises: ValueError where things were rated unequally often.
    Weak when: classes are ordered: it gives no credit for near misses.
    References: Fleiss, Psychol Bull 1971; 76: 378-382. Standard error: Fleiss, Nee and Landis,
        Psychol Bull 1979; 86: 974-977.
    """
    x = np.asarray(counts, dtype=np.float64)
    raters = x.sum(axis=1)
    if not len(x) or (raters != raters[0]).any() or raters[0] < 2:
        raise ValueError("every thing must be rated equally often, at least twice")
    n, m = len(x), raters[0]
    share = x.sum(axis=0) / (n * m)
    apart = share * (1 - share)
    observed = ((x**2).sum() - n * m) / (n * m * (m - 1))
    chance = (share**2).sum()
    value = (observed - chance) / (1 - chance)
    with np.errstate(divide="ignore", invalid="ignore"):
        by_class = 1 - (x * (m - x)).sum(axis=0) / (n * m * (m - 1) * apart)
    spread = apart.sum() ** 2 - (apart * (1 - 2 * share)).sum()
    se = np.sqrt(2 * spread / (apart.sum() ** 2 * n * m * (m - 1)))
    return FleissKappa(float(value), tuple(float(one) for one in by_class), float(value / se))
