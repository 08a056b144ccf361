"""Integrity checks on the figures themselves: copies, one IQR, last digits, medians."""

import numpy as np
import polars as pl

from qa.drift.integrity_exams import QUANTITIES, Unit, step_codes
from qa.drift.integrity_seen import Seen
from qa.model.integrity import CHECK_OF_CODE
from qa.stats.digits import digit_chi_square, preference_index
from qa.stats.tails import binomial_upper, poisson_upper

_LEAST_SPAN = 15
_LEAST_SERIES = 5
_RARE_SHARE, _LEAST_AROUND = 0.25, 8.0


def _pairs(keys: pl.DataFrame) -> float:
    """Pairs of rows that agree in all columns."""
    n = keys.group_by(keys.columns).len()["len"].cast(pl.Float64)
    return float((n * (n - 1) / 2).sum())


def find_duplicates(unit: Unit) -> Seen:
    """INT-001. Repeats of one patient are one; the chance of agreement is the unit's own."""
    counts, names = ["n_valid", "n_attempted"], [*QUANTITIES, "n_valid", "n_attempted"]
    rows = (
        unit.exams.filter(pl.col("repeat_kind").ne_missing("restart"))
        .drop_nulls(list(QUANTITIES))
        .select(*names, "patient_key")
        .unique()
        .select(names)
    )
    n = rows.height
    every = n * (n - 1) / 2
    if not every:
        return Seen(n, 0, p_value=1.0)
    same = rows.group_by(names).len().filter(pl.col("len") > 1)["len"]
    both = _pairs(rows)
    stiff = max(_pairs(rows.select(QUANTITIES[:2])) - both, 0.5)
    atten = max(_pairs(rows.select(QUANTITIES[2:])) - both, 0.5)
    alike = max(_pairs(rows.select(counts)), 0.5) / every
    honest = CHECK_OF_CODE["INT-001"].allowance * stiff * atten / every * alike
    return Seen(n, int(same.sum()), expected=honest, p_value=poisson_upper(both, honest))


def find_same_series(unit: Unit) -> Seen:
    """INT-002."""
    rows = unit.exams.filter(pl.col("measurements").list.len() >= _LEAST_SERIES)
    n = rows.height
    if n < 2:
        return Seen(n, 0, p_value=1.0)
    same = rows.group_by("measurements").len().filter(pl.col("len") > 1)["len"].cast(pl.Float64)
    pairs = float((same * (same - 1) / 2).sum())
    every = rows["measurements"].explode()
    chance = float(((every.value_counts()["count"].sort() / every.len()) ** 2).sum())
    # Readings of one exam lie close together, so each agrees more often than any two do.
    close = min(1.0, 4 * chance) ** (_LEAST_SERIES - 1) * chance
    honest = CHECK_OF_CODE["INT-002"].allowance * n * (n - 1) / 2 * close
    return Seen(n, float(same.sum()), expected=honest, p_value=poisson_upper(pairs, honest))


def find_same_iqrs(unit: Unit) -> Seen:
    """INT-003: the more striking of stiffness and attenuation; values at a limit have no spread."""
    known = unit.exams.filter(pl.col("repeat_kind").ne_missing("restart"))
    seen = [
        _spike(
            step_codes(known.filter(~pl.col(f"is_{name}_censored")), f"{name}_iqr"), f" ({name})"
        )
        for name in ("stiffness", "attenuation")
    ]
    can = [one for one in seen if not one.why_not]
    if not can:
        return seen[0]
    best = min(can, key=lambda one: one.p_value or 0.0)
    p_value = min(1.0, (best.p_value or 0.0) * len(can))
    return Seen(
        best.n, best.found, best.expected, p_value, is_large=best.is_large, detail=best.detail
    )


def _spike(codes: np.ndarray, detail: str) -> Seen:
    """The count that stands out most from the two on either side of it."""
    if not len(codes) or len(np.unique(codes)) < 8:
        return Seen(len(codes), 0, why_not="the device shows too few different IQRs")
    counts = np.bincount(codes - codes.min() + 2, minlength=int(np.ptp(codes)) + 5).astype(int)
    beside = np.array([counts[at - 2 : at + 3].sum() - counts[at] for at in range(len(counts))])
    if _is_uneven(counts):
        return Seen(len(codes), 0, why_not="IQRs come in uneven steps (computed or converted)")
    allowance = CHECK_OF_CODE["INT-003"].allowance
    looked_at = np.flatnonzero(counts[2:-2] >= CHECK_OF_CODE["INT-003"].min_found) + 2
    if not len(looked_at):
        return Seen(len(codes), 0, p_value=1.0)
    share = allowance / (allowance + 4)
    chances = [binomial_upper(counts[at], counts[at] + beside[at], share) for at in looked_at]
    at = looked_at[int(np.argmin(chances))]
    return Seen(
        len(codes),
        int(counts[at]),
        expected=beside[at] / 4,
        p_value=min(1.0, min(chances) * len(looked_at)),
        is_large=bool(counts[at] >= beside[at] / 2),
        detail=detail,
    )


def _is_uneven(counts: np.ndarray) -> bool:
    """Two values or more that hardly come although those around them do."""
    around = [
        float(np.median(np.delete(counts[at - 2 : at + 3], 2))) for at in range(2, len(counts) - 2)
    ]
    rare = counts[2:-2] <= _RARE_SHARE * np.array(around)
    return int((rare & (np.array(around) >= _LEAST_AROUND)).sum()) >= 2


def find_stiffness_digits(unit: Unit) -> Seen:
    """INT-004."""
    return _digits(unit.exams.filter(~pl.col("is_stiffness_censored")), "stiffness_value")


def find_attenuation_digits(unit: Unit) -> Seen:
    """INT-005."""
    return _digits(unit.exams.filter(~pl.col("is_attenuation_censored")), "attenuation_value")


def _digits(exams: pl.DataFrame, name: str) -> Seen:
    codes = step_codes(exams, name)
    if not len(codes):
        return Seen(0, 0)
    if np.ptp(np.quantile(codes, (0.25, 0.75))) < _LEAST_SPAN:
        return Seen(len(codes), 0, why_not="the values span too few of the device's steps")
    honest = CHECK_OF_CODE["INT-004"].allowance
    chi2, p_value = digit_chi_square(np.bincount(codes % 10, minlength=10), honest_share=honest)
    return Seen(len(codes), preference_index(max(chi2 - 9, 0.0), len(codes)), None, p_value)


def find_differing_medians(unit: Unit) -> Seen:
    """INT-012."""
    rows = unit.exams.filter(
        (pl.col("measurements").list.len() >= 3)
        & pl.col("stiffness_value").is_not_null()
        & ~pl.col("is_stiffness_censored")
    )
    away = (rows["measurements"].list.median() - rows["stiffness_value"]).abs()
    step = rows["step_stiffness_value"].fill_null(0.0)
    allowed = pl.select(pl.max_horizontal(step * 1.01, rows["stiffness_value"] * 0.01)).to_series()
    return Seen(rows.height, int((away > allowed).sum()))
