"""Which columns of a design say something that those before them do not."""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def separable_columns(
    design: ArrayLike, weights: ArrayLike, *, least: float = 1e-9
) -> NDArray[np.bool_]:
    """True for each column that is no sum of multiples of the kept columns before it.

    Args:
        design: (cells, columns); weights: exams of each cell, 0 or more.
        least: part of a column's squared length that has to be left.
    Method: Cholesky factor of the weighted cross products, column by column; a column whose
        remaining squared length is a tiny part of its own is left out (as R's lm does).
    Weak when: columns are nearly, not exactly, alike: then the standard error says so.
    References: Golub, Van Loan, Matrix Computations, 4.2.
    Example: columns (1, 1), (1, 0), (0, 1) → True, True, False
    """
    x, w = np.asarray(design, dtype=np.float64), np.asarray(weights, dtype=np.float64)
    products = x.T @ (w[:, None] * x)
    size = len(products)
    factor, kept = np.zeros((size, size)), np.zeros(size, dtype=bool)
    for column in range(size):
        rest = products[column, column] - factor[column, :column] @ factor[column, :column]
        kept[column] = rest > least * products[column, column]
        if kept[column]:
            below = products[column:, column] - factor[column:, :column] @ factor[column, :column]
            factor[column:, column] = below / np.sqrt(rest)
    return kept
