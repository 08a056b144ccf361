"""Logistic regression on counts with normal priors: estimates and evidence, many data at once."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit

Floats = NDArray[np.float64]

STEPS = 30
CLOSE = 1e-8
_MAX_STEP = 3.0


@dataclass(frozen=True)
class RidgeFit:
    """coefficients: shape (data sets, columns); log_evidence: shape (data sets,), up to what the
    counts alone give (the same for every design)."""

    coefficients: Floats
    log_evidence: Floats


def fit_ridge_logistic(
    design: ArrayLike, events: ArrayLike, n: ArrayLike, *, offset: ArrayLike, spread: ArrayLike
) -> RidgeFit:
    """Most likely log odds where each coefficient comes from a normal distribution about 0.

    Args:
        design: shape (rows, columns).
        events, n: shape (data sets, rows): counts of each data set on the same rows.
        offset: known part of the log odds, shape (rows,).
        spread: standard deviation of each coefficient's distribution, shape (columns,).
    Returns: RidgeFit. Evidence by Laplace's approximation, for comparing designs on equal data.
    Weak when: rows are very few: the approximation is rough, and the prior speaks loudest.
    References: MacKay, Neural Comput 1992; 4: 720-736; Kass and Raftery, JASA 1995; 90: 773-795.
    """
    x, known = np.asarray(design, float), np.asarray(offset, float)
    k, size = np.atleast_2d(np.asarray(events, float)), np.atleast_2d(np.asarray(n, float))
    precision = 1 / np.asarray(spread, float) ** 2
    squares = (x[:, :, None] * x[:, None, :]).reshape(len(x), -1)
    beta = np.zeros((len(k), x.shape[1]))
    for _ in range(STEPS):
        p = expit(known + beta @ x.T)
        gradient = (k - size * p) @ x - precision * beta
        step = np.linalg.solve(
            _curvature(squares, size * p * (1 - p), precision), gradient[..., None]
        )
        beta = beta + np.clip(step[..., 0], -_MAX_STEP, _MAX_STEP)
        if np.abs(step).max() < CLOSE:
            break
    eta = known + beta @ x.T
    likelihood = (k * eta - size * np.logaddexp(0, eta)).sum(axis=1)
    p = expit(eta)
    _, log_det = np.linalg.slogdet(_curvature(squares, size * p * (1 - p), precision))
    prior = 0.5 * (np.log(precision).sum() - (precision * beta**2).sum(axis=1))
    return RidgeFit(beta, np.asarray(likelihood + prior - 0.5 * log_det))


def _curvature(squares: Floats, weight: Floats, precision: Floats) -> Floats:
    columns = len(precision)
    inner = (weight @ squares).reshape(-1, columns, columns)
    return np.asarray(inner + np.diag(precision))
