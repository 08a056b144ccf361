"""Small exam tables for tests: text in, an EXAMS frame out, and its verdicts.

A table has one heading row; columns stand apart by two spaces or more; "-" is a missing value.
Columns that a test does not name are filled with an ordinary reliable exam's values.
"""

import re
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from typing import Any

import polars as pl

from qa.assess import assess_exams
from qa.model.definitions import CriteriaSet, GradeTable, InForce, Settings
from qa.model.months import month_of
from qa.model.published import Definitions
from qa.model.schemas import EXAMS
from qa.model.words import StiffnessUnit
from qa.stores.definitions import load_definitions

ORDINARY: dict[str, Any] = {
    "version_no": 1,
    "patient_key": None,
    "site_id": "north",
    "operator_id": "op-1",
    "device_id": "dev-1",
    "technique": "TE",
    "probe": "standard",
    "performed": "performed",
    "order_type": "unknown",
    "n_attempted": 10,
    "n_valid": 10,
    "stiffness_value": 5.0,
    "stiffness_iqr": 0.5,
    "stiffness_unit": "kPa",
    "fasting_hours": 6.0,
    "sex": "unknown",
    "is_stiffness_censored": False,
    "is_attenuation_censored": False,
    "is_date_nominal": False,
    "is_retracted": False,
    "exam_on": date(2026, 3, 2),
    "flags": [],
    "file_id": "file",
    "profile_id": "test.v1",
    "row_hash": "hash",
    "known_at": datetime(2026, 4, 1, tzinfo=UTC),
}
FIRST_DAY = date(2000, 1, 1)
DEFAULTS = Settings()


def exams_of(rows: Sequence[Mapping[str, Any]], **common: Any) -> pl.DataFrame:
    """Rows of values → EXAMS; each row may name any column of the schema."""
    filled = [_filled({**ORDINARY, **common, **row}, number) for number, row in enumerate(rows)]
    return EXAMS.conform(pl.DataFrame(filled, schema_overrides=dict(EXAMS.to_polars())))


def _filled(row: dict[str, Any], number: int) -> dict[str, Any]:
    row.setdefault("exam_key", f"exam-{number}")
    row["patient_key"] = row["patient_key"] or f"patient of {row['exam_key']}"
    row.setdefault("row_no", number + 1)
    row["month"] = month_of(row["exam_on"])
    row.setdefault("exam_at", datetime.combine(row["exam_on"], time(9), UTC))
    value, is_speed = row["stiffness_value"], row["stiffness_unit"] == StiffnessUnit.M_S
    if value is not None:
        row.setdefault("stiffness_kpa", 3 * value**2 if is_speed else value)
    if row.get("attenuation_value") is not None:
        row.setdefault("attenuation_unit", "dB/m")
        row.setdefault("attenuation_db_m", row["attenuation_value"])
        row.setdefault("attenuation_iqr_db_m", row.get("attenuation_iqr"))
    return row


def read_table(text: str) -> list[dict[str, Any]]:
    """A text table → rows; each cell takes the type of the schema's column, if it has one."""
    lines = [re.split(r"\s{2,}", line.strip()) for line in text.strip().splitlines()]
    types = EXAMS.to_polars()
    return [
        {
            name: _cell(cell, types.get(name, pl.String()))
            for name, cell in zip(lines[0], line, strict=True)
        }
        for line in lines[1:]
    ]


def _cell(text: str, kind: pl.DataType) -> Any:
    if text == "-":
        return None
    if kind.is_integer():
        return int(text)
    if kind.is_float():
        return float(text)
    return date.fromisoformat(text) if kind == pl.Date else text


@cache
def definitions() -> Definitions:
    return load_definitions()


def criteria_in_force(
    *sets: str | CriteriaSet, from_days: Sequence[date] = (FIRST_DAY,)
) -> list[tuple[InForce, CriteriaSet]]:
    found = [definitions().criteria[one] if isinstance(one, str) else one for one in sets]
    return [(InForce(one.id, day), one) for one, day in zip(found, from_days, strict=True)]


def tables_in_force(*ids: str) -> list[tuple[InForce, GradeTable]]:
    tables = [definitions().grade_tables[one] for one in ids]
    return [(InForce(one.id, FIRST_DAY, one.quantity, one.techniques), one) for one in tables]


def judge(
    exams: pl.DataFrame,
    criteria: str | CriteriaSet = "common-practice.v1",
    *,
    tables: Sequence[str] = (),
    others: pl.DataFrame | None = None,
    settings: Settings = DEFAULTS,
    horizon_on: date | None = None,
) -> pl.DataFrame:
    return assess_exams(
        exams,
        criteria=criteria_in_force(criteria),
        grade_tables=tables_in_force(*tables),
        settings=settings,
        others=others,
        horizon_on=horizon_on,
    )


def day(n: int) -> date:
    """Day n of the year 2026, the first is 0."""
    return date(2026, 1, 1) + timedelta(days=n)
