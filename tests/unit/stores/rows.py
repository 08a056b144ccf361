"""Rows for the tests of the warehouse; all invented."""

from datetime import UTC, date, datetime
from typing import Any

import polars as pl

from qa.model.schemas import COUNT_COLUMNS, Schema

AT = datetime(2026, 1, 15, 9, 0, tzinfo=UTC)


def frame_of(schema: Schema, rows: list[dict[str, Any]]) -> pl.DataFrame:
    return schema.conform(pl.DataFrame(rows, schema=schema.to_polars())) if rows else schema.empty()


def exam_row(**changes: Any) -> dict[str, Any]:
    base = {
        "exam_key": "a", "version_no": 1, "patient_key": "p", "site_id": "s", "operator_id": "o",
        "device_id": "d", "technique": "TE", "probe": "standard", "performed": "performed",
        "order_type": "first", "n_valid": 10, "sex": "unknown", "is_stiffness_censored": False,
        "is_attenuation_censored": False, "is_date_nominal": False, "is_retracted": False,
        "exam_at": AT, "exam_on": date(2026, 1, 15), "month": date(2026, 1, 1), "flags": [],
        "file_id": "f", "row_no": 1, "profile_id": "x.v1", "row_hash": "h", "known_at": AT,
    }  # fmt: skip
    return base | changes


def file_row(**changes: Any) -> dict[str, Any]:
    base = {
        "file_id": "f", "name": "jan.csv", "site_id": "s", "profile_id": "x.v1", "state": "read",
        "problem": None, "n_rows": 1, "n_accepted": 1, "n_unchanged": 0, "n_quarantined": 0,
        "n_dropped_columns": 0, "intake_fingerprint": "old", "known_at": AT,
    }  # fmt: skip
    return base | changes


def quarantined_row(**changes: Any) -> dict[str, Any]:
    base = {
        "file_id": "f", "row_no": 2, "site_id": "s", "codes": ["CHK-002"], "columns": ["kPa"],
        "found": ["x"], "expected": ["a number"], "profile_id": "x.v1", "known_at": AT,
    }  # fmt: skip
    return base | changes


def assessment_row(**changes: Any) -> dict[str, Any]:
    base = {
        "exam_key": "a", "version_no": 1, "criteria_id": "c.v1", "outcome": "reliable",
        "attenuation_outcome": "not measured", "fasting": "kept", "rest": "kept",
        "position": "kept", "preparation": "kept", "reasons": [], "is_met": True,
        "is_repeat": False, "is_repeat_inferred": False, "is_session_first": True,
        "is_session_final": True,
    }  # fmt: skip
    return base | changes


def count_row(**changes: Any) -> dict[str, Any]:
    base = {
        "site_id": "s", "operator_id": "o", "device_id": "d", "probe": "standard",
        "technique": "TE", "month": date(2026, 1, 1), "criteria_id": "c.v1",
    }  # fmt: skip
    return base | {column.name: 0 for column in COUNT_COLUMNS} | changes
