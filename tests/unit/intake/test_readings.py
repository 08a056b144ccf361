"""Single readings: one list per exam from rows or columns, and what is worked out from it.

Ten readings and their quartiles by type: Hyndman, Fan, Am Stat 1996; 50: 361-365 (definitions),
computed with R and numpy in ../shared/reference/quantile_types_n10_*.csv.
"""

from typing import Any

import pytest

from qa.intake.readings import reading_headings
from qa.model.definitions import ColumnMap, Measurements
from tests.unit.intake.invented import checked, codes_of, mapped, profile

TEN = ("3.1", "4.2", "4.4", "5.0", "5.3", "6.8", "7.5", "7.9", "9.4", "12.6")
HEADINGS = tuple(f"R{number}" for number in range(1, 11))
IQR_BY_TYPE = {6: 3.925, 7: 3.25, 8: 3.6416666667}
NOT_STATED = ("stiffness", "stiffness_iqr", "stated_ratio_pct", "n_valid", "n_attempted")


def in_columns(**changes: Any):
    told = {"layout": "columns", "headings": HEADINGS, "quartile_type": 7, "unit": "kPa"}
    return profile(without=NOT_STATED, measurements=Measurements(**(told | changes)))


def ten(*readings: str, **more: str) -> dict[str, str | None]:
    return dict(zip(HEADINGS, readings, strict=False)) | more


@pytest.mark.parametrize(("kind", "iqr"), IQR_BY_TYPE.items())
def test_columns_give_median_and_iqr_of_the_stated_type(kind: int, iqr: float):
    row = mapped(ten(*TEN), by=in_columns(quartile_type=kind)).row(0, named=True)
    assert row["measurements"] == [float(text) for text in TEN]
    assert row["stiffness_value"] == pytest.approx(6.05)
    assert row["stiffness_iqr"] == pytest.approx(iqr)
    assert (row["n_valid"], row["stiffness_unit"], row["stiffness_kpa"]) == (10, "kPa", 6.05)


def test_attempts_stay_unknown_where_invalid_ones_may_be_missing():
    row = ten("3.1", "x", "4.4", "", "5.0")
    silent = mapped(row, by=in_columns(invalid_marks=("x",))).row(0, named=True)
    told = mapped(row, by=in_columns(invalid_marks=("x",), lists_attempts=True))
    assert (silent["n_valid"], silent["n_attempted"]) == (3, None)
    assert (told["n_valid"][0], told["n_attempted"][0]) == (3, 4)


@pytest.mark.parametrize(
    ("row", "n_valid"),
    [
        (ten("x", "x"), 0),
        (ten(""), 0),
        (ten("", Done="0"), None),
        (ten("5.0"), 1),
    ],
)
def test_exam_without_readings_failed_unless_it_was_not_started(row: dict, n_valid: int | None):
    found = mapped(row, by=in_columns(invalid_marks=("x",))).row(0, named=True)
    assert found["n_valid"] == n_valid
    assert found["stiffness_iqr"] is None


def stated(**changes: Any):
    told = {"layout": "columns", "headings": HEADINGS, "quartile_type": 7}
    return profile(measurements=Measurements(**(told | changes)))


@pytest.mark.parametrize(
    ("changes", "codes"),
    [
        ({"LSM": "6.1", "LSM IQR": "3.3"}, []),
        ({"LSM": "6.0", "LSM IQR": "3.2"}, []),
        ({"LSM": "6.05", "LSM IQR": "3.25"}, []),
        ({"LSM": "6.2", "LSM IQR": "3.3"}, ["CHK-030"]),
        ({"LSM": "6.1", "LSM IQR": "3.4"}, []),
        ({"LSM": "6.1", "LSM IQR": "3.5"}, ["CHK-031"]),
        ({"LSM": "6.1", "LSM IQR": "3.3", "Valid": "9"}, ["CHK-032"]),
        ({"LSM": "6.1", "LSM IQR": ""}, []),
        ({"LSM": "6.1", "LSM IQR": "3.3", "R10": "126"}, ["CHK-034"]),
        ({"LSM": "6.1", "LSM IQR": "3.3", "R10": "12,6"}, ["CHK-003"]),
        ({"LSM": "6.1", "LSM IQR": "3.3", "R10": "n/k"}, ["CHK-002"]),
    ],
)
def test_stated_and_recomputed_figures(changes: dict, codes: list[str]):
    row = ten(*TEN, Ratio="") | {"LSM": "6.1", "LSM IQR": "3.3"} | changes
    assert codes_of(row, by=stated()) == codes


def test_what_the_site_states_stands():
    row = ten(*TEN) | {"LSM": "6.9", "LSM IQR": "3.3", "Ratio": ""}
    accepted = checked(row, by=stated()).accepted.row(0, named=True)
    assert (accepted["stiffness_value"], accepted["stiffness_iqr"]) == (6.9, 3.3)
    assert accepted["flags"] == ["CHK-030"]


def in_rows(*columns: ColumnMap, **changes: Any):
    told = {
        "layout": "rows",
        "headings": ("Reading",),
        "quartile_type": 7,
        "unit": "kPa",
        "valid_heading": "OK",
        "valid_values": ("1",),
        "invalid_values": ("0",),
        "order_heading": "No",
    }
    return profile(*columns, without=NOT_STATED, measurements=Measurements(**(told | changes)))


def shots(readings: tuple[str, ...], **more: str | None) -> list[dict[str, str | None]]:
    return [
        {"Reading": text, "OK": "1", "No": str(number), **more}
        for number, text in enumerate(readings, start=1)
    ]


def test_rows_of_one_exam_become_one_row():
    other = shots(("8.0", "9.0"), Exam="E2", Patient="90210072")
    result = checked(*shots(TEN), *other, by=in_rows(lists_attempts=True))
    assert result.quarantined.is_empty()
    first, second = result.accepted.iter_rows(named=True)
    assert (first["row_no"], second["row_no"]) == (1, 11)
    assert first["measurements"] == [float(text) for text in TEN]
    assert (first["n_valid"], first["n_attempted"]) == (10, 10)
    assert first["stiffness_value"] == pytest.approx(6.05)
    assert first["stiffness_iqr"] == pytest.approx(3.25)
    assert (second["stiffness_value"], second["n_valid"]) == (8.5, 2)


def test_order_of_rows_is_irrelevant():
    rows = shots(TEN)
    forward = mapped(*rows, by=in_rows()).row(0, named=True)
    backward = mapped(*reversed(rows), by=in_rows()).row(0, named=True)
    assert forward["measurements"] == backward["measurements"]
    assert forward["row_hash"] == backward["row_hash"]
    without = mapped(*reversed(rows), by=in_rows(order_heading="")).row(0, named=True)
    assert without["measurements"] != forward["measurements"]
    assert without["row_hash"] == forward["row_hash"]


def test_a_reading_that_does_not_count_is_an_attempt():
    rows = shots(("5.0", "5.2", "9.9"))
    rows[2] |= {"OK": "0"}
    row = mapped(*rows, by=in_rows(lists_attempts=True)).row(0, named=True)
    assert (row["measurements"], row["n_valid"], row["n_attempted"]) == ([5.0, 5.2], 2, 3)
    silent = mapped(*rows, by=in_rows()).row(0, named=True)
    assert (silent["n_valid"], silent["n_attempted"]) == (2, None)


def test_a_value_may_stand_in_the_first_row_only():
    rows = shots(("5.0", "5.2"))
    rows[1] |= {"Probe": "", "Age": None}
    row = mapped(*rows, by=in_rows()).row(0, named=True)
    assert (row["probe"], row["age_years"]) == ("standard", 51)


def test_rows_that_contradict_each_other_wait_as_one():
    rows = shots(("5.0", "5.2", "5.4"))
    rows[2] |= {"Probe": "L", "Age": "52"}
    result = checked(*rows, by=in_rows())
    [held] = result.quarantined.iter_rows(named=True)
    assert (held["codes"], held["row_no"]) == (["CHK-033"], 1)
    assert held["found"] == ["two values or more in: Probe, Age"]


def test_unknown_marker_and_missing_exam_number_wait():
    rows = shots(("5.0", "5.2"))
    rows[1] |= {"OK": "7"}
    assert codes_of(*rows, by=in_rows()) == ["CHK-005"]
    nameless = checked(*shots(("5.0", "5.2"), Exam=""), by=in_rows())
    assert nameless.quarantined["codes"].to_list() == [["CHK-001"], ["CHK-001"]]


def test_first_and_mean_of_what_differs_by_row():
    depth = ColumnMap("roi_depth_mm", ("Depth",))
    pressure = ColumnMap("pressure_in_range_pct", ("Pressure",), codes=(("1", "100"), ("0", "0")))
    by = in_rows(
        depth,
        pressure,
        first_of=("exam_at",),
        mean_of=("roi_depth_mm", "pressure_in_range_pct"),
    )
    rows = shots(("5.0", "5.2", "5.4", "5.6"), Pressure="1", Depth="30")
    rows[1] |= {"Date": "05.03.2026 14:21", "Depth": "40", "Pressure": "0"}
    [row] = checked(*rows, by=by).accepted.iter_rows(named=True)
    assert (row["roi_depth_mm"], row["pressure_in_range_share"]) == (32.5, 0.75)
    assert row["exam_at"].minute == 20


def test_headings_with_a_star_follow_their_numbers():
    told = Measurements("columns", ("measurement *",), 7)
    found = reading_headings(told, ["measurement 10", "measurement 2", "measurement", "exam"])
    assert found == ["measurement 2", "measurement 10"]
