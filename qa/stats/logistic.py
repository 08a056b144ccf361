"""Logistic regression on collapsed cells: exact, and small however many exams there are."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, xlogy

Floats = NDArray[np.float64]

MOST_STEPS, MOST_HALVINGS = 50, 30


@dataclass(frozen=True)
class LogisticFit:
    """Coefficients and what they rest on.

    Args:
        coefficients, standard_errors: one for each column of the design.
        expected: fitted probability of each cell.
        deviance: of single exams, so that it does not depend on how they were collapsed.
        n_steps: iterations until it stood still.
        is_converged: False where it did not: a level without any event, most often.
    """

    coefficients: Floats
    standard_errors: Floats
    expected: Floats
    deviance: float
    n_steps: int
    is_converged: bool


def fit_logistic(
    design: ArrayLike, n_events: ArrayLike, n: ArrayLike, *, ridge: float = 0.0
) -> LogisticFit:
    """Fit expected probabilities to cells of exams that share all their levels.

    Args:
        design: (cells, columns), a column of ones included.
        n_events, n: events and exams of each cell.
        ridge: penalty on squared coefficients but the first; a little keeps a level without
            events from running off; 0 is maximum likelihood.
    Returns: LogisticFit.
    Method: iteratively reweighted least squares from the overall share; a step that fits worse than
        the one before is halved (a rare event that one level has often makes full steps swing
        ever further); stops where no coefficient moves by more than 1e-12 of its size.
    Weak when: exams of one operator go together: standard errors are then too small. The
        expected counts add up to the observed ones over every column without a penalty.
    References: McCullagh, Nelder, Generalized Linear Models, 2nd ed. 1989, 4.4.
    """
    x = np.asarray(design, dtype=np.float64)
    events, size = np.asarray(n_events, dtype=np.float64), np.asarray(n, dtype=np.float64)
    penalty = ridge * np.diag((np.arange(x.shape[1]) > 0).astype(np.float64))
    beta = np.zeros(x.shape[1])
    eta = np.full(len(x), _logit(events.sum() / size.sum()))
    is_converged, n_steps = False, 0
    reached = np.inf

    def misfit(coefficients: Floats) -> float:
        odds = x @ coefficients
        likelihood = float((events * odds - size * np.logaddexp(0, odds)).sum())
        return 0.5 * float(coefficients @ penalty @ coefficients) - likelihood

    while not is_converged and n_steps < MOST_STEPS:
        n_steps += 1
        p = expit(eta)
        weight = np.maximum(size * p * (1 - p), 1e-300)
        working = weight * eta + events - size * p
        information = x.T @ (weight[:, None] * x) + penalty
        later, reached = _no_worse(
            beta,
            np.linalg.solve(information, x.T @ working),
            misfit,
            reached,
            is_first=n_steps == 1,
        )
        moved = np.abs(later - beta).max() / max(1.0, float(np.abs(later).max()))
        beta, eta = later, x @ later
        is_converged = moved < 1e-12
    p = expit(eta)
    weight = size * p * (1 - p)
    covariance = np.linalg.inv(x.T @ (weight[:, None] * x) + penalty)
    deviance = -2 * float((xlogy(events, p) + xlogy(size - events, 1 - p)).sum())
    return LogisticFit(beta, np.sqrt(np.diag(covariance)), p, deviance, n_steps, bool(is_converged))


def _no_worse(
    beta: Floats,
    later: Floats,
    misfit: Callable[[Floats], float],
    reached: float,
    *,
    is_first: bool,
) -> tuple[Floats, float]:
    """The step, halved until it fits no worse (a rounding apart) than what was reached."""
    found = misfit(later)
    for _ in range(MOST_HALVINGS if not is_first else 0):
        if found <= reached + 1e-9 * max(1.0, abs(reached)):
            break
        later = (beta + later) / 2
        found = misfit(later)
    return later, found


def _logit(share: float) -> float:
    held = min(max(share, 1e-9), 1 - 1e-9)
    return float(np.log(held / (1 - held)))
