"""assess_exams against a slow plain version, and month by month against all at once."""

from datetime import date, timedelta
from fractions import Fraction
from typing import Any

import polars as pl
from hypothesis import given

from tests.exam_tables import judge
from tests.property.strategies import exam_frames, small_and_fixed

WINDOW = 90
MIN_VALID = {"TE": 10, "pSWE": 10, "2D-SWE": 5}
LIMIT = {"kPa": Fraction(30, 100), "m/s": Fraction(15, 100)}


def exact(number: float) -> Fraction:
    """The tenth that was meant, not the nearest binary number."""
    return Fraction(round(number * 10), 10)


def plain_outcome(row: dict[str, Any]) -> str:
    """Common practice (no source) for one exam, in exact fractions."""
    valid, median, iqr = row["n_valid"], row["stiffness_value"], row["stiffness_iqr"]
    if row["performed"] != "performed":
        return "not performed"
    if valid == 0 or (valid is None and median is None):
        return "failed"
    if valid is None:
        return "not judged"
    if valid < MIN_VALID[row["technique"]]:
        return "incomplete"
    if not median or iqr is None:
        return "not judged"
    ratio = exact(iqr) / exact(median)
    return "unreliable" if ratio >= LIMIT[row["stiffness_unit"]] else "reliable"


def plain_repeats(rows: list[dict[str, Any]]) -> set[str]:
    started = [row for row in rows if row["performed"] == "performed"]
    found = set()
    for row in started:
        own = [one for one in started if one["patient_key"] == row["patient_key"]]
        order = sorted(own, key=lambda one: (one["exam_at"], one["exam_key"]))
        place = order.index(row)
        if place == 0 or row["order_type"] in ("follow-up", "confirmation"):
            continue
        gap = row["exam_at"] - order[place - 1]["exam_at"]
        is_poor = plain_outcome(order[place - 1]) in ("unreliable", "incomplete", "failed")
        if is_poor and timedelta(0) < gap <= timedelta(days=WINDOW):
            found.add(row["exam_key"])
    return found


@given(exam_frames())
@small_and_fixed
def test_outcome_equals_the_plain_version(exams: pl.DataFrame) -> None:
    assert judge(exams)["outcome"].to_list() == [plain_outcome(row) for row in exams.to_dicts()]


@given(exam_frames())
@small_and_fixed
def test_repeats_equal_the_plain_version(exams: pl.DataFrame) -> None:
    found = judge(exams, repeat_window_days=WINDOW).filter("is_repeat")["exam_key"]
    assert set(found) == plain_repeats(exams.to_dicts())


@given(exam_frames(min_size=1))
@small_and_fixed
def test_months_are_independent_given_the_window_before(exams: pl.DataFrame) -> None:
    whole = judge(exams, repeat_window_days=WINDOW)
    parts = []
    for month in exams["month"].unique():
        own = exams.filter(pl.col("month") == month)
        parts.append(judge(own, before=before_month(exams, month), repeat_window_days=WINDOW))
    assert pl.concat(parts).sort("exam_key").equals(whole.sort("exam_key"))


def before_month(exams: pl.DataFrame, month: date) -> pl.DataFrame:
    """Only what the window can see: exams up to WINDOW days before the month's first day."""
    first = month - timedelta(days=WINDOW + 1)
    return exams.filter(pl.col("exam_on").is_between(first, month, closed="left"))


@given(exam_frames())
@small_and_fixed
def test_met_means_reliable_and_no_reason(exams: pl.DataFrame) -> None:
    found = judge(exams)
    assert found["is_met"].equals((found["outcome"] == "reliable").alias("is_met"))
    is_poor = found["outcome"].is_in(["unreliable", "incomplete", "failed", "not judged"])
    assert is_poor.equals((found["reasons"].list.len() > 0).alias("outcome"))
