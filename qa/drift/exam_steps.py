"""What may have stepped at a site, and since when: exams one by one, every start weighed.

A share of a site hides a step of one device among two, and a share above an edge hides a reading
that is a little high. So values are taken where the measure has any, and each operator, device,
probe and technique may have begun to differ in a month of its own.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.special import ndtri

from qa.case_mix.bands import covariate_levels
from qa.counts import count_groups
from qa.drift.causes import (
    ALIKE,
    FEWEST,
    KIND_OF,
    LEVEL_SPREAD,
    NEWCOMERS,
    NOTHING,
    PRIOR,
    SHIFT_SPREAD,
    Key,
)
from qa.drift.exam_cells import FACTORS
from qa.model.definitions import Measure
from qa.stats.step_evidence import LevelledValues

Floats = NDArray[np.float64]

PATIENT_LEVELS = ("bmi", "age", "sex", "indication", "occasion")
VALUES = {"stiffness": "stiffness_kpa", "attenuation": "attenuation_db_m"}
VALUE_SPREAD, VALUE_SHIFT = 0.3, 0.3
"""Spread of lasting levels and of steps of values, in standard deviations of the values; proposal
of this tool. A reading 8 % high is about 0.2 where livers differ by 40 %."""
EDGE = 3
"""Fewer months before a step have nothing to be held against it."""
IN_NINE_OF_TEN = 0.9


@dataclass(frozen=True)
class Step:
    """One thing that may have stepped.

    key: kind and members as in qa.drift.explain. weight: probability among all. start: most likely
    first month; first, last: nine in ten. shift: in standard deviations of the values, or as a
    share. by_start: ln of its Bayes factor for each month; mean: of their average.
    """

    key: Key
    weight: float
    start: date
    first: date
    last: date
    shift: float
    by_start: Mapping[date, float]
    mean: float


@dataclass(frozen=True)
class Steps:
    """is_of_values: of raw values; else of events. steps: the most likely first; nothing: weight
    of no step. ratio, lower, upper: of the first one's values, after over before."""

    is_of_values: bool
    steps: tuple[Step, ...]
    nothing: float
    ratio: float | None = None
    lower: float | None = None
    upper: float | None = None

    @property
    def found(self) -> Step | None:
        """The most likely step, where it is likelier than none."""
        first = self.steps[0] if self.steps else None
        return first if first is not None and first.weight > self.nothing else None


def value_column(measure: Measure) -> str | None:
    """The column of raw values behind a measure of results."""
    keys = [VALUES[one] for one in VALUES if measure.key.startswith(one) and measure.is_grade]
    return keys[0] if keys else None


def find_steps(exams: pl.DataFrame, *, measure: Measure) -> Steps:
    """Weigh a step of everybody, of each operator, device, probe and technique, from each month on.

    Args: exams: published exams of one site, in some months; restarted tries are left out.
    Returns: Steps; empty where months or exams are too few.
    Method: values within a technique become normal scores by rank, so that a few very stiff livers
        do not speak loudest (van der Waerden); patients are told apart by body-mass index, age,
        sex, cause and occasion. All starts count alike beforehand.
    Weak when: two things stepped; patients changed in a way that is not described.
    References: van der Waerden, Math Ann 1953; 126: 93-107 (from memory).
    """
    column = value_column(measure)
    rows = _rows(exams, measure, column)
    months = rows["month"].unique().sort().to_list()
    groups = _groups(rows)
    if len(months) <= EDGE or not groups:
        return Steps(column is not None, (), 1.0)
    y = rows["score"].to_numpy()
    scale = 1.0 if column else max(float(y.var()), 1e-6)
    design, spread = _design(rows, is_values=column is not None, scale=scale)
    place = rows["month"].replace_strict({one: k for k, one in enumerate(months)}).to_numpy()
    patient = rows["patient_key"].rank("dense").to_numpy()
    model = LevelledValues(y, design, place, patient=patient, n_months=len(months), spread=spread)
    masks = np.array([one.mask for one in groups])
    shift_spread = VALUE_SHIFT if column else SHIFT_SPREAD * scale
    found = model.steps(masks, shift_spread=shift_spread)
    log, shift = found.log_factor, found.shift
    is_weighed = _is_weighed(masks, place, len(months))
    came = _first_places(rows, place)
    if column:
        everybody = np.ones((1, rows.height), dtype=bool)
        groups.append(_Group((NEWCOMERS, ()), everybody[0], PRIOR[ALIKE]))
        newer = model.steps(everybody, shift_spread=shift_spread, months=came)
        log, shift = np.vstack([log, newer.log_factor]), np.vstack([shift, newer.shift])
        is_weighed = np.vstack([is_weighed, _is_weighed(everybody, came, len(months))])
    log = np.where(is_weighed, log, -np.inf)[:, EDGE:]
    steps = _weigh(groups, log, shift[:, EDGE:], months[EDGE:])
    nothing = max(1 - sum(one.weight for one in steps), 1e-12)
    if not (column and steps):
        return Steps(column is not None, steps, nothing)
    mask = next(one.mask for one in groups if one.key == steps[0].key)
    moves_with = came if steps[0].key[0] == NEWCOMERS else place
    after = mask & (moves_with >= months.index(steps[0].start))
    logs = np.log(rows["value"].to_numpy())
    of_logs = LevelledValues(
        logs, design, place, patient=patient, n_months=len(months), spread=spread
    )
    size, error = of_logs.size_of(after)
    ends = (float(np.exp(size + z * error)) for z in (0.0, -1.96, 1.96))
    return Steps(True, steps, nothing, *ends)


@dataclass(frozen=True)
class _Group:
    key: Key
    mask: NDArray[np.bool_]
    prior: float


def _rows(exams: pl.DataFrame, measure: Measure, column: str | None) -> pl.DataFrame:
    """One row for each exam of the measure: FACTORS, month, PATIENT_LEVELS, value, score."""
    kinds = exams.with_columns(**covariate_levels(), value=pl.col(column) if column else None)
    by = ["exam_key", "patient_key", *FACTORS, "month", *PATIENT_LEVELS, "value"]
    columns = list(dict.fromkeys([*measure.numerator, *measure.denominator]))
    counts = count_groups(kinds, by=by, columns=columns).filter(
        pl.sum_horizontal(measure.denominator) > 0
    )
    if "n_large_patient_probe" in measure.numerator:
        counts = counts.with_columns(probe=pl.lit("any"))
    rows = counts.with_columns(
        pl.col(*FACTORS, *PATIENT_LEVELS).fill_null("unknown"),
        events=pl.sum_horizontal(measure.numerator) / pl.sum_horizontal(measure.denominator),
    ).sort("exam_key")
    if column is None:
        return rows.with_columns(score=pl.col("events"))
    rows = rows.filter(pl.col("value") > 0)
    rank = (pl.col("value").rank().over("technique") - 0.5) / pl.len().over("technique")
    share = rows.select(rank).to_series().to_numpy()
    return rows.with_columns(score=pl.Series(ndtri(share)))


def _first_places(rows: pl.DataFrame, place: NDArray[np.int64]) -> NDArray[np.int64]:
    """For each exam the place of the month in which its patient was first seen."""
    placed = rows.select("patient_key", place=pl.Series(place))
    return placed.select(pl.col("place").min().over("patient_key")).to_series().to_numpy()


def _groups(rows: pl.DataFrame) -> list[_Group]:
    """One for each set of exams that can be told apart from others; as explain's candidates."""
    named: list[tuple[str, tuple[tuple[str, str], ...], NDArray[np.bool_]]] = [
        (ALIKE, (), np.ones(rows.height, dtype=bool))
    ]
    for name in FACTORS:
        levels = rows[name]
        known = levels.unique().sort().to_list()
        for member in known if len(known) > 1 or name == "device_id" else ():
            named.append((KIND_OF[name], ((name, member),), (levels == member).to_numpy()))
    found: dict[bytes, _Group] = {}
    for kind, members, mask in named:
        code, prior = mask.tobytes(), PRIOR[kind]
        if (same := found.get(code)) is not None:
            kind, members, prior = same.key[0], same.key[1] + members, same.prior + prior
        found[code] = _Group((kind, members), mask, prior)
    return list(found.values()) if rows.height else []


def _design(rows: pl.DataFrame, *, is_values: bool, scale: float) -> tuple[Floats, Floats]:
    columns, spread = [np.ones(rows.height)], [10.0]
    for name in (*FACTORS, *PATIENT_LEVELS):
        levels = rows[name]
        known = levels.unique().sort().to_list()
        for member in known if len(known) > 1 else ():
            columns.append((levels == member).to_numpy().astype(float))
            if name in PATIENT_LEVELS:
                spread.append(1.0 if is_values else 2.0 * scale)
            else:
                spread.append(VALUE_SPREAD if is_values else LEVEL_SPREAD[name] * scale)
    return np.column_stack(columns), np.array(spread)


def _is_weighed(masks: NDArray[np.bool_], place: NDArray, n_months: int) -> NDArray[np.bool_]:
    """Whether a group has exams enough before and from each month on: (groups, months)."""
    counts = np.array([np.bincount(place[mask], minlength=n_months) for mask in masks])
    before = np.cumsum(counts, axis=1) - counts
    after = counts.sum(axis=1, keepdims=True) - before
    return (before >= FEWEST) & (after >= FEWEST)


def _weigh(
    groups: Sequence[_Group], log: Floats, shift: Floats, months: Sequence[date]
) -> tuple[Step, ...]:
    usable = [k for k in range(len(groups)) if np.isfinite(log[k]).any()]
    peaks = {k: float(log[k].max()) for k in usable}
    odds = {k: np.exp(log[k] - peaks[k]) for k in usable}
    mean = {k: peaks[k] + float(np.log(odds[k].mean())) for k in usable}
    weights = {k: groups[k].prior * np.exp(min(mean[k], 600.0)) for k in usable}
    total = PRIOR[NOTHING] + sum(weights.values())
    steps = []
    for k in sorted(usable, key=lambda one: -weights[one]):
        best = int(log[k].argmax())
        first, last = _span(odds[k])
        steps.append(
            Step(
                groups[k].key,
                float(weights[k] / total),
                months[best],
                months[first],
                months[last],
                float(shift[k, best]),
                dict(zip(months, log[k].tolist(), strict=True)),
                mean[k],
            )
        )
    return tuple(steps)


def _span(odds: Floats) -> tuple[int, int]:
    """First and last of the likeliest months that together hold nine in ten."""
    share = odds / odds.sum()
    order = np.argsort(-share, kind="stable")
    n = int(np.searchsorted(np.cumsum(share[order]), IN_NINE_OF_TEN)) + 1
    kept = order[:n]
    return int(kept.min()), int(kept.max())
