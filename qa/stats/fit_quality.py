"""How well expected probabilities fit: discrimination and calibration, on cells."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit

from qa.stats.logistic import fit_logistic

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


@dataclass(frozen=True)
class CalibrationLine:
    """How found log odds follow the expected ones; intercept 0 and slope 1 are right.

    Args:
        intercept: log odds to add to all expected ones, their slope held at 1.
        slope: factor on the expected log odds; nan where they are all alike.
    """

    intercept: float
    slope: float


def calibration_line(expected: ArrayLike, n_events: ArrayLike, n: ArrayLike) -> CalibrationLine:
    """Calibration in the large and calibration slope.

    Args: as auc; expected strictly between 0 and 1.
    Returns: both nan without events or without others.
    Method: logistic regression on the expected log odds: once as an offset with an intercept,
        once with intercept and slope.
    Weak when: on the exams that the model was fitted on; it is 0 and 1 there by construction.
    References: Cox, Biometrika 1958; 45: 562-565. Steyerberg, Clinical Prediction Models, 2009.
    Example: expected 0.1 and 0.2, found 20 and 40 of 200 each → intercept 0, slope 1
    """
    p = np.clip(np.asarray(expected, dtype=np.float64), 1e-9, 1 - 1e-9)
    events, size = np.asarray(n_events, dtype=np.float64), np.asarray(n, dtype=np.float64)
    if not 0 < events.sum() < size.sum():
        return CalibrationLine(float("nan"), float("nan"))
    log_odds = np.log(p / (1 - p))
    level = 0.0
    for _ in range(50):
        now = expit(log_odds + level)
        step = (events - size * now).sum() / (size * now * (1 - now)).sum()
        level += float(np.clip(step, -2.0, 2.0))
        if abs(step) < 1e-12:
            break
    if np.ptp(log_odds) < 1e-9:
        return CalibrationLine(level, float("nan"))
    fit = fit_logistic(np.column_stack([np.ones_like(p), log_odds]), events, size)
    return CalibrationLine(level, float(fit.coefficients[1]))
