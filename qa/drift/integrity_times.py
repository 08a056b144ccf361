"""Integrity checks on start times. Times of a timetable say nothing of when an exam began."""

import polars as pl

from qa.drift.integrity_exams import Unit, minute_digits
from qa.drift.integrity_seen import Seen
from qa.model.integrity import CHECK_OF_CODE
from qa.stats.digits import digits_apart, preference_index

_TIMETABLE_SHARE = 0.9
_FASTEST_S, _CLOCKS_DIFFER_S, _LONGEST_GAP_S = 120, 60, 7200
_NO_TIMES = "the times are those of a timetable or stand for a day"


def _timed(unit: Unit) -> pl.DataFrame | None:
    """Exams with a start of their own; None where nearly all begin at a full five minutes."""
    rows = unit.exams.filter(~pl.col("is_date_nominal"))
    if not rows.height:
        return None
    at = rows["exam_at"].dt
    full = ((at.minute() % 5 == 0) & (at.second() == 0)).mean()
    return rows if float(full or 0.0) < _TIMETABLE_SHARE else None  # type: ignore[arg-type]


def _with_gaps(rows: pl.DataFrame, alone: str) -> pl.DataFrame:
    """Exams that follow another patient's on that day, with the seconds since it began."""
    before = {
        "gap_s": (pl.col("exam_at") - pl.col("exam_at").shift()).dt.total_milliseconds() / 1000,
        "patient_before": pl.col("patient_key").shift(),
        "day_before": pl.col("exam_on").shift(),
        "duration_before_s": pl.col("duration_s").shift(),
    }
    return rows.with_columns(
        **{name: expression.over(alone) for name, expression in before.items()}
    ).filter(
        (pl.col("exam_on") == pl.col("day_before"))
        & (pl.col("patient_key") != pl.col("patient_before"))
    )


def find_pace(unit: Unit) -> Seen:
    """INT-006."""
    rows = _timed(unit)
    if rows is None:
        return Seen(unit.exams.height, 0, why_not=_NO_TIMES)
    gaps = _with_gaps(rows, unit.one_at_a_time)["gap_s"]
    return Seen(len(gaps), int((gaps < _FASTEST_S).sum()))


def find_overlaps(unit: Unit) -> Seen:
    """INT-007."""
    rows = _timed(unit)
    if rows is None:
        return Seen(unit.exams.height, 0, why_not=_NO_TIMES)
    gaps = _with_gaps(rows, unit.one_at_a_time).drop_nulls("duration_before_s")
    early = gaps["gap_s"] < gaps["duration_before_s"] - _CLOCKS_DIFFER_S
    return Seen(gaps.height, int(early.sum()))


def find_clock(unit: Unit) -> Seen:
    """INT-013: last digits of the minute against the colleagues'."""
    own = minute_digits(unit.exams.filter(~pl.col("is_date_nominal")))
    others = unit.site_minutes - own
    n, n_others = int(own.sum()), float(others.sum())
    if n and n_others < CHECK_OF_CODE["INT-013"].min_n:
        return Seen(n, 0, why_not="there are no colleagues to compare with")
    if not n:
        return Seen(0, 0)
    used = (own + others) > 0
    if (others > 0).sum() < 5:
        return Seen(n, 0, why_not=_NO_TIMES)
    honest = CHECK_OF_CODE["INT-013"].allowance
    chi2, p_value = digits_apart(own, others, honest_share=honest)
    return Seen(n, preference_index(max(chi2 - used.sum() + 1, 0.0), n), None, p_value)


def find_beat(unit: Unit) -> Seen:
    """INT-014."""
    rows = _timed(unit)
    if rows is None or float((rows["exam_at"].dt.second() > 0).mean() or 0.0) < 0.5:  # type: ignore[arg-type]
        return Seen(unit.exams.height, 0, why_not="the times have no seconds of their own")
    gaps = _with_gaps(rows, unit.one_at_a_time).filter(
        (pl.col("gap_s") >= 1) & (pl.col("gap_s") <= _LONGEST_GAP_S)
    )
    pairs = gaps.select(
        gap="gap_s",
        before=pl.col("gap_s").shift().over(unit.one_at_a_time, "exam_on"),
    ).drop_nulls()
    even = (pairs["gap"] - pairs["before"]).abs() < 0.5
    return Seen(pairs.height, int(even.sum()))
