"""Strategies for exams, and the settings that keep property tests small and the same every time."""

from datetime import UTC, datetime, time, timedelta
from typing import Any

import polars as pl
from hypothesis import settings
from hypothesis import strategies as st

from tests.exam_tables import day, exams_of

small_and_fixed = settings(derandomize=True, max_examples=40, deadline=None)

DAYS = (0, 0, 1, 6, 7, 40, 90, 91, 131, 180, 181, 186, 220, 400)
"""Around the windows of repeats, and some months apart."""

tenths = st.integers(0, 120).map(lambda n: n / 10)


def or_missing(strategy: st.SearchStrategy) -> st.SearchStrategy:
    return st.one_of(strategy, strategy, strategy, st.none())


exam_rows: st.SearchStrategy[dict[str, Any]] = st.fixed_dictionaries(
    {
        "patient_key": st.sampled_from(["ann", "bob", "cid"]),
        "site_id": st.sampled_from(["north", "south"]),
        "operator_id": st.sampled_from(["op-1", "op-2"]),
        "probe": st.sampled_from(["standard", "large-patient"]),
        "technique": st.sampled_from(["TE", "TE", "pSWE", "2D-SWE"]),
        "performed": st.sampled_from(["performed"] * 5 + ["ineligible", "refused", "not done"]),
        "order_type": st.sampled_from(
            ["first", "unknown", "unknown", "recall", "follow-up", "confirmation", "deferred"]
        ),
        "device_id": st.sampled_from(["dev-1", "dev-1", "dev-2"]),
        "n_valid": or_missing(st.sampled_from([0, 1, 4, 5, 9, 10, 11])),
        "n_attempted": or_missing(st.integers(0, 30)),
        "stiffness_value": or_missing(tenths),
        "stiffness_iqr": or_missing(tenths),
        "stiffness_unit": st.sampled_from(["kPa", "kPa", "m/s"]),
        "attenuation_value": or_missing(st.integers(100, 400).map(float)),
        "attenuation_iqr": or_missing(st.integers(0, 80).map(float)),
        "fasting_hours": or_missing(st.integers(0, 6).map(float)),
        "exam_on": st.sampled_from(DAYS).map(day),
        "minute": st.sampled_from([0, 12, 30, 31, 60]),
    }
)


def exam_frames(*, min_size: int = 0) -> st.SearchStrategy[pl.DataFrame]:
    """EXAMS of up to 12 rows with three patients, so that they come back often."""
    return st.lists(exam_rows, min_size=min_size, max_size=12).map(frame_of)


def frame_of(rows: list[dict[str, Any]]) -> pl.DataFrame:
    return exams_of([_at_minute(row) for row in rows]) if rows else exams_of([{}]).clear()


def _at_minute(row: dict[str, Any]) -> dict[str, Any]:
    row = dict(row)
    start = datetime.combine(row["exam_on"], time(9), UTC)
    return row | {"exam_at": start + timedelta(minutes=row.pop("minute"))}
