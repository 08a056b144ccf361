"""Intraclass correlation: what share of the scatter lies between subjects."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import fdtri

MODELS = {
    "ICC(1,1)": "each subject measured by other operators, one measurement",
    "ICC(2,1)": "the same operators for all, standing for others, one measurement (agreement)",
    "ICC(3,1)": "the same operators for all, only these count, one measurement (consistency)",
    "ICC(1,k)": "as ICC(1,1), mean of k measurements",
    "ICC(2,k)": "as ICC(2,1), mean of k operators",
    "ICC(3,k)": "as ICC(3,1), mean of k operators",
}
"""Names as published and what they assume."""


@dataclass(frozen=True)
class MeanSquares:
    """Of a full table of subjects by operators."""

    between: float
    within: float
    judges: float
    error: float


@dataclass(frozen=True)
class Icc:
    """One model's coefficient. model: a key of MODELS."""

    model: str
    value: float
    lower: float
    upper: float


def mean_squares(table: ArrayLike) -> MeanSquares:
    """Args: table: one row per subject, one column per operator, no gap."""
    x = np.asarray(table, dtype=np.float64)
    n, k = x.shape
    grand, rows, columns = x.mean(), x.mean(axis=1), x.mean(axis=0)
    total = ((x - grand) ** 2).sum()
    between = k * ((rows - grand) ** 2).sum()
    judges = n * ((columns - grand) ** 2).sum()
    return MeanSquares(
        between=float(between / (n - 1)),
        within=float((total - between) / (n * (k - 1))),
        judges=float(judges / (k - 1)),
        error=float((total - between - judges) / ((n - 1) * (k - 1))),
    )


def intraclass_correlations(table: ArrayLike, *, level: float = 0.95) -> dict[str, Icc]:
    """All six coefficients with intervals.

    Args:
        table: one row per subject, one column per operator; at least 2 of each, no gap.
        level: confidence.
    Returns: model → Icc, the keys of MODELS.
    Raises: ValueError for a table of one row or one column.
    Method: two-way analysis of variance; intervals from F, for ICC(2,·) with Satterthwaite's
        degrees of freedom.
    Weak when: subjects differ widely: the coefficient is then high however poor the agreement.
    References: Shrout and Fleiss, Psychol Bull 1979; 86: 420-428. McGraw and Wong, Psychol Methods
        1996; 1: 30-46.
    """
    x = np.asarray(table, dtype=np.float64)
    if x.ndim != 2 or min(x.shape) < 2:
        raise ValueError("a table of at least two subjects and two operators is needed")
    n, k = x.shape
    ms, upper_tail = mean_squares(x), (1 + level) / 2
    first = _ratio(ms.between / ms.within, n - 1, n * (k - 1), k, upper_tail)
    third = _ratio(ms.between / ms.error, n - 1, (n - 1) * (k - 1), k, upper_tail)
    second = _agreement(ms, n, k, upper_tail)
    found = {}
    for name, one in (("1", first), ("2", second), ("3", third)):
        found[f"ICC({name},1)"] = Icc(f"ICC({name},1)", *one)
        found[f"ICC({name},k)"] = Icc(f"ICC({name},k)", *(k * v / (1 + (k - 1) * v) for v in one))
    return {name: found[name] for name in MODELS}


def _ratio(f: float, df1: int, df2: int, k: int, tail: float) -> tuple[float, float, float]:
    low, high = f / fdtri(df1, df2, tail), f * fdtri(df2, df1, tail)
    return tuple(float((one - 1) / (one + k - 1)) for one in (f, low, high))  # type: ignore[return-value]


def _agreement(ms: MeanSquares, n: int, k: int, tail: float) -> tuple[float, float, float]:
    value = (ms.between - ms.error) / (
        ms.between + (k - 1) * ms.error + k * (ms.judges - ms.error) / n
    )
    judges, rest = ms.judges / ms.error, n * (1 + (k - 1) * value) - k * value
    freedom = ((k - 1) * (n - 1) * (k * value * judges + rest) ** 2) / (
        (n - 1) * k**2 * value**2 * judges**2 + rest**2
    )
    f_upper, f_lower = fdtri(n - 1, freedom, tail), fdtri(freedom, n - 1, tail)
    spread = k * ms.judges + (k * n - k - n) * ms.error
    lower = n * (ms.between - f_upper * ms.error) / (f_upper * spread + n * ms.between)
    upper = n * (f_lower * ms.between - ms.error) / (spread + n * f_lower * ms.between)
    return float(value), float(lower), float(upper)
