"""Runs of points and sums over windows of months, for many series in one array."""

import numpy as np
from numpy.typing import NDArray


def run_lengths(flags: NDArray[np.bool_], segments: NDArray[np.int64]) -> NDArray[np.int64]:
    """How many points in a row, up to and with this one, carry the flag.

    Args:
        flags: True where a point is on the side asked for.
        segments: number of the series part that a point belongs to; equal neighbours belong
            together and a run never crosses from one part to the next.
    Returns: lengths, 0 where the flag is False.
    References: Western Electric, Statistical Quality Control Handbook 1956 (eight in a row).
    Example: flags T T F T, one segment → 1 2 0 1
    """
    if not len(flags):
        return np.zeros(0, dtype=np.int64)
    position = np.arange(len(flags), dtype=np.int64)
    is_start = np.ones(len(flags), dtype=bool)
    is_start[1:] = (segments[1:] != segments[:-1]) | ~flags[:-1]
    start = np.maximum.accumulate(np.where(is_start, position, 0))
    return np.where(flags, position - start + 1, 0)


def window_sums(
    values: NDArray[np.int64],
    months: NDArray[np.int64],
    segments: NDArray[np.int64],
    *,
    n_months: int,
) -> NDArray[np.int64]:
    """Sum of the values of the last `n_months` calendar months, this one included.

    Args:
        values: one number for each point; points sorted by segment and month.
        months: running number of the month (year · 12 + month); unique within a segment.
        segments: as in run_lengths.
        n_months: width of the window in calendar months; a month without a point adds nothing.
    Returns: sums, same length.
    Example: values 1 2 3 in months 1 2 4, n_months 3 → 1 3 5
    """
    sums = values.copy()
    for back in range(1, min(n_months, len(values))):
        is_inside = (segments[back:] == segments[:-back]) & (
            months[back:] - months[:-back] < n_months
        )
        sums[back:] += np.where(is_inside, values[:-back], 0)
    return sums
