"""How well expected probabilities fit: discrimination and calibration, on cells."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class CalibrationBand:
    """Exams with expected probabilities of about the same size."""

    n: float
    expected: float
    observed: float


def auc(expected: ArrayLike, n_events: ArrayLike, n: ArrayLike) -> float:
    """Chance that an exam with the event had a higher expected probability than one without.

    Args:
        expected: probability of each cell; n_events, n: its events and exams.
    Returns: 0.5 is no better than drawing lots; nan without events or without others.
    Method: the rank statistic, ties count half, over cells.
    References: Hanley, McNeil, Radiology 1982; 143: 29-36.
    Example: expected 0.1, 0.9; events 0, 1 of 1 each → 1.0
    """
    p, events = np.asarray(expected, dtype=np.float64), np.asarray(n_events, dtype=np.float64)
    others = np.asarray(n, dtype=np.float64) - events
    values, place = np.unique(p, return_inverse=True)
    with_event = np.bincount(place, events, len(values))
    without = np.bincount(place, others, len(values))
    if not with_event.sum() or not without.sum():
        return float("nan")
    below = np.cumsum(without) - without
    wins = (with_event * (below + without / 2)).sum()
    return float(wins / (with_event.sum() * without.sum()))


def brier_score(expected: ArrayLike, n_events: ArrayLike, n: ArrayLike) -> float:
    """Mean squared distance of expected probabilities from what happened; smaller is better.

    Example: expected 0.5, 1 event of 2 → 0.25
    """
    p, events = np.asarray(expected, dtype=np.float64), np.asarray(n_events, dtype=np.float64)
    size = np.asarray(n, dtype=np.float64)
    return float((events * (1 - p) ** 2 + (size - events) * p**2).sum() / size.sum())


def calibration_bands(
    expected: ArrayLike, n_events: ArrayLike, n: ArrayLike, *, n_bands: int = 10
) -> tuple[CalibrationBand, ...]:
    """Observed against expected share, in bands of about equal numbers of exams.

    Args: as auc.
    Returns: bands from the lowest expected probability up; empty bands are left out.
    Weak when: bands hold few events; then look at the whole only.
    References: Hosmer, Lemeshow, Applied Logistic Regression, 1989.
    """
    p, events = np.asarray(expected, dtype=np.float64), np.asarray(n_events, dtype=np.float64)
    size = np.asarray(n, dtype=np.float64)
    order = np.argsort(p, kind="stable")
    middle = (np.cumsum(size[order]) - size[order] / 2) / size.sum()
    band = np.minimum((middle * n_bands).astype(np.int64), n_bands - 1)
    sums = [np.bincount(band, part[order], n_bands) for part in (size, size * p, events)]
    return tuple(
        CalibrationBand(float(number), float(should / number), float(did / number))
        for number, should, did in zip(*sums, strict=True)
        if number > 0
    )
