"""assess_exams against a slow plain version, and month by month against all at once."""

from fractions import Fraction
from typing import Any

import polars as pl
from hypothesis import given

from tests.exam_tables import judge
from tests.property.plain_repeats import plain_repeats
from tests.property.strategies import exam_frames, small_and_fixed

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


@given(exam_frames())
@small_and_fixed
def test_outcome_equals_the_plain_version(exams: pl.DataFrame) -> None:
    assert judge(exams)["outcome"].to_list() == [plain_outcome(row) for row in exams.to_dicts()]


@given(exam_frames())
@small_and_fixed
def test_repeats_equal_the_plain_version(exams: pl.DataFrame) -> None:
    horizon = exams["exam_on"].max()
    found = judge(exams, horizon_on=horizon)
    columns = ("exam_key", "repeat_kind", "is_repeat_inferred", "is_repeat", "is_repeated")
    plain = plain_repeats(exams.to_dicts(), outcome=plain_outcome, horizon_on=horizon)
    assert {row[0]: row[1:] for row in found.select(columns).iter_rows()} == plain


@given(exam_frames(min_size=1))
@small_and_fixed
def test_months_are_independent_given_the_patients_other_exams(exams: pl.DataFrame) -> None:
    whole = judge(exams, horizon_on=exams["exam_on"].max())
    parts = []
    for month in exams["month"].unique():
        own = exams.filter(pl.col("month") == month)
        parts.append(judge(own, others=exams, horizon_on=exams["exam_on"].max()))
    assert pl.concat(parts).sort("exam_key").equals(whole.sort("exam_key"))


@given(exam_frames())
@small_and_fixed
def test_met_means_reliable_and_no_reason(exams: pl.DataFrame) -> None:
    found = judge(exams)
    assert found["is_met"].equals((found["outcome"] == "reliable").alias("is_met"))
    is_poor = found["outcome"].is_in(["unreliable", "incomplete", "failed", "not judged"])
    assert is_poor.equals((found["reasons"].list.len() > 0).alias("outcome"))
