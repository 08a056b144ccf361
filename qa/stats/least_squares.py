"""Ordinary least squares with standard errors that allow unequal scatter."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Fitted:
    """Coefficients in the order of the columns, their standard errors, degrees of freedom."""

    coefficients: Floats
    se: Floats
    freedom: int

    def interval(self, number: int, *, level: float = 0.95) -> tuple[float, float]:
        half = float(stdtrit(self.freedom, (1 + level) / 2) * self.se[number])
        return float(self.coefficients[number]) - half, float(self.coefficients[number]) + half


def fit_least_squares(design: ArrayLike, y: ArrayLike) -> Fitted:
    """Coefficients with heteroscedasticity-consistent standard errors.

    Args:    design: one row for each value, one column for each coefficient; y: the values.
    Returns: Fitted; a column that the others make up gets a coefficient by the smallest norm and
        must not be read. Standard errors are nan without degrees of freedom.
    Method:  pseudo-inverse; residuals weighted by 1 / (1 - leverage)² (HC3).
    Weak when: rows hang together (several exams of one patient): errors are then too small.
    References: MacKinnon and White, J Econometrics 1985; 29: 305-325.
    """
    x, values = np.asarray(design, dtype=np.float64), np.asarray(y, dtype=np.float64)
    inverse = np.linalg.pinv(x.T @ x, hermitian=True)
    beta = inverse @ x.T @ values
    # The triangle of x has its singular values, and is small.
    triangle, room = np.linalg.qr(x, mode="r"), max(x.shape) * np.finfo(np.float64).eps
    freedom = len(values) - int(np.linalg.matrix_rank(triangle, rtol=room))
    if freedom < 1:
        return Fitted(beta, np.full(len(beta), np.nan), 0)
    leverage = ((x @ inverse) * x).sum(axis=1)
    weighted = (values - x @ beta) / np.maximum(1 - leverage, 1e-8)
    meat = (x * (weighted**2)[:, None]).T @ x
    return Fitted(beta, np.sqrt(np.diag(inverse @ meat @ inverse)), freedom)
