"""Sample quantiles by their published type; the same ten readings differ by type."""

import numpy as np
from numpy.typing import ArrayLike

# Hyndman and Fan's numbers, which R uses too → the same definitions by numpy's names.
METHODS: dict[int, str] = {
    1: "inverted_cdf",
    2: "averaged_inverted_cdf",
    3: "closest_observation",
    4: "interpolated_inverted_cdf",
    5: "hazen",
    6: "weibull",
    7: "linear",
    8: "median_unbiased",
    9: "normal_unbiased",
}


def quantile(values: ArrayLike, q: float, *, type: int) -> float:
    """Quantile of a sample by one of the nine published definitions.

    Args:
        values: the sample, at least one value.
        q: share, 0 to 1.
        type: 1 to 9 as Hyndman and Fan number them; a criteria set states which one it uses.
    Returns: the quantile; nan for an empty sample.
    Raises: ValueError for an unknown type.
    Weak when: two figures made by different types are compared (IQR/median of ten readings
        can be 0.25 by type 7 and 0.33 by type 6).
    References: Hyndman, Fan, Am Stat 1996; 50: 361-365.
    Example: 3.1 4.2 4.4 5.0 5.3 6.8 7.5 7.9 9.4 12.6, q 0.25 → 4.55 (type 7), 4.35 (type 6)
    """
    if type not in METHODS:
        raise ValueError(f"quantile type {type} is not one of 1 to 9")
    sample = np.asarray(values, dtype=np.float64)
    if not sample.size:
        return float("nan")
    return float(np.quantile(sample, q, method=METHODS[type]))  # type: ignore[call-overload]
