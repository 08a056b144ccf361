"""Integrity checks on limits, repeats, failures, and exams of one patient."""

import numpy as np
import polars as pl

from qa.drift.integrity_exams import Unit
from qa.drift.integrity_seen import Seen
from qa.model.integrity import CHECK_OF_CODE
from qa.model.words import Outcome
from qa.stats.step_at_limit import step_at_limit

_EDGES = np.linspace(0.4, 1.6, 19)
_NEAR = 0.1
WITHIN_PATIENT_CV = 0.274
"""Widest published: root-mean-square coefficient of variation of one of two TE devices, three
repeats in 39 people (Serra et al., Hepat Med 2020; read). The other device: 11.1 %."""
JUMP_LOG_RATIO = 2.77 * WITHIN_PATIENT_CV


def find_beyond_limit(unit: Unit) -> Seen:
    """INT-008: IQR/median over its limit, with room for the device's steps."""
    rows = unit.exams.filter(
        pl.col("stiffness_iqr").is_not_null()
        & pl.col("step_stiffness_iqr").is_not_null()
        & (pl.col("stiffness_value") > 0)
        & (pl.col("n_valid") >= pl.col("min_valid"))
        & (pl.col("stiffness_kpa") >= pl.col("limit_from_kpa"))
    )
    if not rows.height:
        return Seen(0, 0)
    scale = (rows["stiffness_value"] * rows["limit_share"]).to_numpy()
    step = rows["step_stiffness_iqr"].to_numpy()
    on_limit = np.where(rows["is_limit_allowed"].to_numpy(), -1e-9, 1e-9)
    ratio = rows["stiffness_iqr"].to_numpy() / scale + on_limit
    counts = np.histogram(ratio, _EDGES)[0]
    # Multiples of the step between two edges, for each median.
    steps_below = np.floor(_EDGES[None, :] * (scale / step)[:, None] - on_limit[:, None])
    rooms = np.diff(steps_below, axis=1).sum(axis=0) / len(rows)
    factor, p_value = step_at_limit(counts, rooms, middles=(_EDGES[1:] + _EDGES[:-1]) / 2)
    inside = int(((ratio > 1 - _NEAR) & (ratio <= 1)).sum())
    return Seen(
        int(counts.sum()),
        inside,
        p_value=p_value,
        is_large=factor >= CHECK_OF_CODE["INT-008"].allowance,
    )


def find_one_short(unit: Unit) -> Seen:
    """INT-009."""
    short = (unit.exams["min_valid"] - unit.exams["n_valid"]).drop_nulls()
    short = short.filter((short >= 1) & (short <= 3))
    return Seen(len(short), int((short == 1).sum()))


def find_repeats_until_good(unit: Unit) -> Seen:
    """INT-010."""
    is_good = pl.col("outcome") == Outcome.RELIABLE
    days = (
        unit.exams.filter(pl.col("repeat_kind").ne_missing("restart"))
        .group_by("patient_key", "exam_on")
        .agg(
            n=pl.len(),
            n_good=is_good.sum(),
            is_last_good=is_good.sort_by("exam_at").last(),
        )
    )
    until = (days["n"] >= 3) & (days["n_good"] == 1) & days["is_last_good"]
    return Seen(days.height, int(until.sum()))


def find_few_failures(unit: Unit) -> Seen:
    """INT-011."""
    judged = unit.exams["outcome"].is_in(
        [Outcome.RELIABLE, Outcome.UNRELIABLE, Outcome.INCOMPLETE, Outcome.FAILED]
    )
    missed = unit.exams["outcome"].is_in([Outcome.INCOMPLETE, Outcome.FAILED])
    return Seen(int(judged.sum()), int(missed.sum()))


def find_jumps(unit: Unit) -> Seen:
    """INT-015. The exam before may be anybody's: it is found before units are told apart."""
    pairs = unit.exams["jump_log_ratio"].drop_nulls()
    return Seen(len(pairs), int((pairs.abs() > JUMP_LOG_RATIO).sum()))
