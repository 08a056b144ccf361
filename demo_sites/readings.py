"""Single measurements whose median and IQR are what the exam should show.

Readings of an exam lie around its median like normal scores, stretched to its IQR and rounded to
the step of its device. The figures that count are those of the rounded readings, worked out here in
whole quarter steps and rounded to the steps that the shape states.
"""

from statistics import NormalDist

import numpy as np
import polars as pl

from demo_sites.patients import Columns
from demo_sites.shape import Shape
from demo_sites.shapes import SHAPES
from demo_sites.work import GOOD, WIDE

_LOWEST, _HIGHEST = 10, 750
"""In tenths of a kPa."""
_TRIES = 60


def add_readings(rng: np.random.Generator, exams: Columns) -> tuple[Columns, pl.Series]:
    """Readings of every exam whose shape sends them.

    Returns: median_steps and iqr_steps (those of the readings), has_iqr (false for one reading),
        and the readings as measured: lists in the order they were taken, null for other shapes and
        where nothing was valid.
    """
    median, iqr = exams["median_steps"].copy(), exams["iqr_steps"].copy()
    has_iqr = exams["has_figure"].copy()
    lists: list[list[float] | None] = [None] * len(median)
    for number, shape in enumerate(SHAPES):
        if not shape.readings:
            continue
        here = (exams["shape"] == number) & exams["has_figure"]
        for n in np.unique(exams["n_valid"][here]):
            rows = np.flatnonzero(here & (exams["n_valid"] == n))
            wanted = (median[rows], iqr[rows], exams["outcome"][rows])
            readings, median[rows], iqr[rows] = _readings(*wanted, n=int(n), shape=shape)
            has_iqr[rows] = n > 1
            shuffled = rng.permuted(readings, axis=1) / shape.reading_steps
            for row, values in zip(rows.tolist(), shuffled.tolist(), strict=True):
                lists[row] = values
    figures = {"median_steps": median, "iqr_steps": iqr, "has_iqr": has_iqr}
    return figures, pl.Series(lists, dtype=pl.List(pl.Float64))


def _readings(
    median: np.ndarray, iqr: np.ndarray, outcome: np.ndarray, *, n: int, shape: Shape
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Whole steps of a reading, one exam a row, with median and IQR in steps of the shape.

    The spread is mended until rounding keeps the outcome; it never falls on the limit itself.
    """
    a_reading = shape.stiffness_steps // shape.reading_steps
    scores = _scores(n, shape.quartile_type)
    scale = iqr / a_reading
    for _ in range(_TRIES):
        readings = np.round((median / a_reading)[:, None] + scale[:, None] * scores)
        readings = np.sort(np.clip(readings, _LOWEST, _HIGHEST), axis=1).astype(np.int64)
        low, middle, high = _quarters(readings, shape.quartile_type)
        stated, spread = (
            np.round(x * a_reading / 4).astype(np.int64) for x in (middle, high - low)
        )
        apart = 100 * spread - shape.limit_share_pct * stated
        too_wide, too_narrow = (outcome == GOOD) & (apart >= 0), (outcome == WIDE) & (apart <= 0)
        if n < 2 or not (too_wide | too_narrow).any():
            break
        scale = np.where(too_wide, 0.93 * scale, np.where(too_narrow, 1.07 * scale + 0.1, scale))
    return readings, stated, spread


def _scores(n: int, kind: int) -> np.ndarray:
    """Normal scores whose median is 0 and whose IQR is 1."""
    normal = NormalDist()
    scores = np.array([normal.inv_cdf((k + 0.625) / (n + 0.25)) for k in range(n)])
    low, _, high = _quarters(scores[None, :], kind)
    width = float((high - low)[0]) / 4
    return scores / width if width else scores


def _quarters(readings: np.ndarray, kind: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Four times the quartiles of sorted rows.

    Hyndman, Fan, Am Stat 1996; 50: 361-365: type 7 puts quartile k at (n - 1) k / 4 counted from 0,
    type 6 at (n + 1) k / 4 counted from 1; between two values in a straight line.
    """
    n = readings.shape[1]
    result = []
    for k in (1, 2, 3):
        place = (n - 1) * k if kind == 7 else (n + 1) * k - 4
        place = min(max(place, 0), 4 * (n - 1))
        below, part = divmod(place, 4)
        above = min(below + 1, n - 1)
        result.append(4 * readings[:, below] + part * (readings[:, above] - readings[:, below]))
    return result[0], result[1], result[2]
