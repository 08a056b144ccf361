"""Strategies for exams, and the settings that keep property tests small and the same every time."""

from typing import Any

import polars as pl
from hypothesis import settings
from hypothesis import strategies as st

from tests.exam_tables import day, exams_of

small_and_fixed = settings(derandomize=True, max_examples=40, deadline=None)

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
        "order_type": st.sampled_from(["first", "recall", "unknown", "follow-up"]),
        "n_valid": or_missing(st.sampled_from([0, 1, 4, 5, 9, 10, 11])),
        "n_attempted": or_missing(st.integers(0, 30)),
        "stiffness_value": or_missing(tenths),
        "stiffness_iqr": or_missing(tenths),
        "stiffness_unit": st.sampled_from(["kPa", "kPa", "m/s"]),
        "attenuation_value": or_missing(st.integers(100, 400).map(float)),
        "attenuation_iqr": or_missing(st.integers(0, 80).map(float)),
        "fasting_hours": or_missing(st.integers(0, 6).map(float)),
        "exam_on": st.integers(0, 120).map(day),
    }
)


def exam_frames(*, min_size: int = 0) -> st.SearchStrategy[pl.DataFrame]:
    """EXAMS of up to 12 rows with three patients, so that they come back often."""
    return st.lists(exam_rows, min_size=min_size, max_size=12).map(frame_of)


def frame_of(rows: list[dict[str, Any]]) -> pl.DataFrame:
    return exams_of(rows) if rows else exams_of([{}]).clear()
