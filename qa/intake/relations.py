"""Columns that betray themselves by arithmetic: ratio = IQR / median, index = weight / height²."""

from collections.abc import Sequence
from itertools import permutations

import numpy as np
from numpy.typing import ArrayLike

from qa.intake.column_facts import ColumnFacts

FEWEST_ROWS = 8
_AGREEING_SHARE = 0.9
_MEDIAN_KPA, _MEDIAN_M_S = (2.5, 30.0), (0.8, 2.4)
_LEAST_MEDIAN = 0.5
_BMI, _HEIGHT, _WEIGHT = (10.0, 80.0), (50.0, 230.0), (5.0, 300.0)


def find_ratio(columns: Sequence[ColumnFacts]) -> dict[str, str]:
    """Median, IQR and IQR/median in %, if one column is 100 times another over a third.

    Returns: stiffness, stiffness_iqr, stated_ratio_pct → heading; empty when no three columns
        stand so to one another, or when several could be meant.
    Method:  median and ratio can change places in the equation; a median is never near 0, and the
        ratio in % is larger than the median in kPa or m/s in most exams.
    """
    numeric = [one for one in columns if one.numbers is not None and one.high <= 2000]
    medians = [one for one in numeric if _within(one.middle, _MEDIAN_KPA, _MEDIAN_M_S)]
    found = []
    for median in medians:
        others = [one for one in numeric if one is not median and one.low >= 0]
        for iqr, ratio in permutations(others, 2):
            if not iqr.middle < median.middle or not 1 < ratio.middle < 100:
                continue
            with np.errstate(divide="ignore", invalid="ignore"):
                expected = 100 * iqr.figures / median.figures
            if _agree(expected, ratio.numbers, tolerance=2.5):
                found.append((median, iqr, ratio))
    likely = [one for one in found if one[0].low >= _LEAST_MEDIAN and one[2].middle > one[0].middle]
    if len(likely) != 1:
        return {}
    names = ("stiffness", "stiffness_iqr", "stated_ratio_pct")
    return {name: column.heading for name, column in zip(names, likely[0], strict=True)}


def find_body(columns: Sequence[ColumnFacts]) -> dict[str, str]:
    """Height (cm), weight (kg) and body-mass index, if three columns stand so to one another."""

    def like(bounds: tuple[float, float]) -> list[ColumnFacts]:
        return [one for one in columns if one.numbers is not None and _within(one.middle, bounds)]

    found = []
    for height in like(_HEIGHT):
        for weight in like(_WEIGHT):
            for index in like(_BMI):
                if len({height.heading, weight.heading, index.heading}) < 3:
                    continue
                metres = height.figures / 100
                expected = weight.figures / (metres * metres)
                if _agree(expected, index.numbers, tolerance=0.2):
                    found.append((height.heading, weight.heading, index.heading))
    if len(found) != 1:
        return {}
    return dict(zip(("height_cm", "weight_kg", "bmi"), found[0], strict=True))


def find_counts(columns: Sequence[ColumnFacts]) -> dict[str, str]:
    """Valid and attempted measurements: small whole numbers, the first never above the second.

    Valid counts heap up on the number that a rule asks for: most often 10 (or 5) exactly.
    """
    small = [
        one
        for one in columns
        if one.numbers is not None and one.is_whole and one.low >= 0 and 5 <= one.high <= 200
        and one.n_distinct > 3
    ]  # fmt: skip
    found = []
    for valid, tried in permutations(small, 2):
        both = ~np.isnan(valid.figures) & ~np.isnan(tried.figures)
        if both.sum() < FEWEST_ROWS:
            continue
        a, b = valid.figures[both], tried.figures[both]
        heap = _most_frequent(a)
        is_heaped = heap in (5.0, 10.0) and float((a == heap).mean()) >= 0.25
        if np.all(a <= b) and np.any(a < b) and is_heaped and _most_frequent(b) in (5, 10, 11, 12):
            found.append((valid.heading, tried.heading))
    return dict(zip(("n_valid", "n_attempted"), found[0], strict=True)) if len(found) == 1 else {}


def _most_frequent(values: np.ndarray) -> float:
    different, counts = np.unique(values, return_counts=True)
    return float(different[np.argmax(counts)])


def _within(value: float, *bounds: tuple[float, float]) -> bool:
    return any(low <= value <= high for low, high in bounds)


def _agree(expected: ArrayLike, found: np.ndarray | None, *, tolerance: float) -> bool:
    assert found is not None
    expected = np.asarray(expected, dtype=np.float64)
    known = np.isfinite(expected) & np.isfinite(found)
    if known.sum() < FEWEST_ROWS or np.unique(found[known]).size < FEWEST_ROWS:
        return False
    near = np.abs(expected[known] - found[known]) <= tolerance
    return float(near.mean()) >= _AGREEING_SHARE
