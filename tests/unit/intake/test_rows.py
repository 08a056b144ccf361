"""Typed rows: what is read, what stays null, what stands for nothing."""

from typing import Any

import polars as pl
import pytest

from qa.intake.rows import as_number
from qa.model.definitions import ColumnMap
from qa.model.schemas import EXAMS
from tests.unit.intake.invented import checked, mapped, profile


@pytest.mark.parametrize(
    ("text", "with_point", "with_comma"),
    [
        ("12", 12.0, 12.0),
        ("9.2", 9.2, None),
        ("9,2", None, 9.2),
        ("-0.5", -0.5, None),
        ("1,234.5", None, None),
        ("1.234,5", None, None),
        ("nan", None, None),
        ("inf", None, None),
        ("12 kPa", None, None),
        ("1_000", None, None),
        ("", None, None),
        (None, None, None),
    ],
)
def test_as_number(text: str | None, with_point: float | None, with_comma: float | None):
    frame = pl.DataFrame({"t": [text]}, schema={"t": pl.String})
    found = frame.select(
        point=as_number(pl.col("t"), decimal="."), comma=as_number(pl.col("t"), decimal=",")
    )
    assert found.row(0) == (with_point, with_comma)


def value(name: str, row: dict[str, Any], *columns: ColumnMap, **more: Any) -> Any:
    return mapped(row, by=profile(*columns, **more))[name][0]


@pytest.mark.parametrize(
    ("name", "row", "expected"),
    [
        ("site_id", {}, "east"),
        ("operator_id", {}, "east-a"),
        ("device_id", {}, "east-1"),
        ("technique", {}, "TE"),
        ("probe", {"Probe": "L"}, "large-patient"),
        ("probe", {"Probe": ""}, "unknown"),
        ("performed", {"Done": "0"}, "refused"),
        ("performed", {"Done": None}, "performed"),
        ("order_type", {}, "unknown"),
        ("sex", {}, "unknown"),
        ("n_valid", {"Valid": "10.0"}, 10),
        ("n_valid", {"Valid": "NA"}, None),
        ("stiffness_kpa", {}, 9.2),
        ("stiffness_unit", {"LSM": ""}, None),
        ("stated_ratio_share", {}, 0.12),
        ("attenuation_db_m", {}, 220.0),
        ("age_years", {"Age": "51.9"}, 51),
        ("age_years", {"Age": "89"}, 89),
        ("age_years", {"Age": "90"}, 90),
        ("age_years", {"Age": "97"}, 90),
        ("is_retracted", {}, False),
    ],
)
def test_map_rows_fills_the_columns(name: str, row: dict[str, Any], expected: Any):
    assert value(name, row) == expected


def test_map_rows_speed_keeps_its_iqr_as_measured():
    speed = ColumnMap("stiffness", ("LSM",), unit="m/s")
    rows = mapped({"LSM": "2.0", "LSM IQR": "0.3"}, by=profile(speed))
    names = ("stiffness_value", "stiffness_iqr", "stiffness_unit", "stiffness_kpa")
    assert rows.select(names).row(0) == (2.0, 0.3, "m/s", 12.0)


def test_map_rows_unit_of_each_row():
    by = profile(ColumnMap("stiffness", ("LSM",)), ColumnMap("stiffness_unit", ("Unit",)))
    rows = mapped({"Unit": "kPa"}, {"Unit": "m/s", "LSM": "2"}, {"Unit": "furlong"}, by=by)
    assert rows["stiffness_kpa"].to_list() == [9.2, 12.0, None]


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ({"Valid": "0", "LSM": "0", "LSM IQR": "0"}, (None, None)),
        ({"Valid": "0", "LSM": "9.2", "LSM IQR": "0"}, (9.2, None)),
        ({"Valid": "10", "LSM": "9.2", "LSM IQR": "0"}, (9.2, 0.0)),
        ({"Valid": "", "LSM": "9.2", "LSM IQR": "0"}, (9.2, 0.0)),
    ],
)
def test_map_rows_zero_beside_no_valid_measurement_is_no_figure(row: dict, expected: tuple):
    assert mapped(row).select("stiffness_value", "stiffness_iqr").row(0) == expected


def test_map_rows_body_mass_index_from_height_and_weight():
    size = (ColumnMap("height_cm", ("H",)), ColumnMap("weight_kg", ("W",)))
    assert value("bmi_kg_m2", {"H": "200", "W": "100"}, *size) == pytest.approx(25.0)
    assert value("bmi_kg_m2", {"H": "0", "W": "100"}, *size) is None
    stated = (*size, ColumnMap("bmi", ("B",)))
    assert value("bmi_kg_m2", {"H": "200", "W": "100", "B": "31.7"}, *stated) == 31.7


def test_map_rows_scale_turns_minutes_into_hours():
    minutes = ColumnMap("fasting_hours", ("Fasted",), scale=1 / 60)
    assert value("fasting_hours", {"Fasted": "180"}, minutes) == pytest.approx(3.0)


@pytest.mark.parametrize(
    ("hours", "stated", "expected"),
    [("", "kept", "kept"), ("", "breach", "breach"), ("3", "breach", None), ("", "?", None)],
)
def test_map_rows_fasting_stated_only_without_hours(hours: str, stated: str, expected: str | None):
    kept = ColumnMap("fasting_kept", ("Kept",))
    assert value("fasting_stated", {"Fasted": hours, "Kept": stated}, kept) == expected


def test_map_rows_censored_at_the_limits_of_the_profile():
    limits = {"stiffness_limits_kpa": (1.5, 75.0), "attenuation_limits_db_m": (100.0, 400.0)}
    rows = mapped({"LSM": "75", "ATT": "399"}, {"LSM": "74.9", "ATT": "400"}, by=profile(**limits))
    assert rows.select("is_stiffness_censored", "is_attenuation_censored").rows() == [
        (True, False),
        (False, True),
    ]


def test_map_rows_no_rows_gives_every_column():
    accepted = checked({}).accepted
    assert set(EXAMS.names) - {"version_no"} <= set(accepted.columns)
    empty = mapped({}).clear()
    assert empty.schema == mapped({}).schema
