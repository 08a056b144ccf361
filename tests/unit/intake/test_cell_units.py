"""Units in cells and columns that hold two units: read, or held back, never guessed."""

import pytest

from qa.model.definitions import ColumnMap
from tests.unit.intake.invented import checked, codes_of, mapped, profile

SPEED = profile(ColumnMap("stiffness", ("LSM",), unit="m/s"))
BY_ROW = profile(ColumnMap("stiffness", ("LSM",)), ColumnMap("stiffness_unit", ("Unit",)))


@pytest.mark.parametrize(
    ("text", "value"),
    [("9.2 kPa", 9.2), ("9.2kPa", 9.2), ("9.2 KPA", 9.2), ("9.2", 9.2)],
)
def test_a_cell_may_name_the_unit_of_its_column(text: str, value: float):
    row = mapped({"LSM": text, "Ratio": ""}).row(0, named=True)
    assert (row["stiffness_value"], row["stiffness_unit"]) == (value, "kPa")


@pytest.mark.parametrize(
    ("row", "codes"),
    [
        ({"LSM": "1.8 m/s"}, ["CHK-035"]),
        ({"LSM IQR": "0.2 m/s"}, ["CHK-035"]),
        ({"ATT": "0.63 dB/cm/MHz"}, ["CHK-035"]),
        ({"ATT": "220 dB/m"}, []),
        ({"LSM": "9,2 kPa"}, ["CHK-003"]),
        ({"LSM": "9.2 mmHg"}, ["CHK-002"]),
        ({"LSM": "9.2.1 kPa"}, ["CHK-002"]),
    ],
)
def test_a_cell_may_not_name_another_unit(row: dict, codes: list[str]):
    assert codes_of(row | {"Ratio": ""}) == codes


def test_a_value_without_its_unit_waits():
    row = {"LSM": "9.2", "Unit": "kPa"}
    assert codes_of(row, by=BY_ROW) == []
    assert codes_of(row | {"Unit": ""}, by=BY_ROW) == ["CHK-039"]
    assert codes_of(row | {"Unit": "mmHg"}, by=BY_ROW) == ["CHK-005"]
    assert codes_of(row | {"LSM": "", "LSM IQR": "", "Ratio": "", "Unit": ""}, by=BY_ROW) == []


def test_the_unit_of_a_row_decides_for_its_cells():
    row = {"LSM": "1.8 m/s", "LSM IQR": "0.2", "Unit": "m/s", "Ratio": ""}
    assert codes_of(row, by=BY_ROW) == []
    assert codes_of(row | {"Unit": "kPa"}, by=BY_ROW) == ["CHK-035"]


def exams(*values: str) -> list[dict[str, str | None]]:
    return [
        {"Exam": f"E{number}", "LSM": value, "LSM IQR": "", "Ratio": ""}
        for number, value in enumerate(values)
    ]


def held(*values: str, **more) -> list[str]:
    result = checked(*exams(*values), **more)
    assert all(codes == ["CHK-036"] for codes in result.quarantined["codes"].to_list())
    return [values[row - 1] for row in result.quarantined["row_no"]]


def test_kpa_and_speeds_in_one_column_are_held_back():
    mixed = ("5.1", "1.3", "8.4", "1.5", "1.9", "6.1", "2.2")
    assert held(*mixed) == ["5.1", "1.3", "1.5", "1.9", "2.2"]


@pytest.mark.parametrize(
    "values",
    [
        ("1.9", "1.9", *["5.1"] * 5),
        ("1.9", "1.9", "1.9", *["5.1"] * 58),
        ("2.0", "2.0", "2.0", "5.1"),
    ],
    ids=["two rows", "under a twentieth", "on the edge"],
)
def test_a_few_low_values_are_no_second_unit(values: tuple[str, ...]):
    assert held(*values) == []
    assert held("1.9", "1.9", "1.9", *["5.1"] * 57) != []


def test_speeds_with_kpa_among_them_are_held_back():
    result = checked(*exams("1.3", "7.9", "8.8", "1.5", "9.4", "0.8"), by=SPEED)
    codes = dict(result.quarantined.select("row_no", "codes").iter_rows())
    assert codes == {
        1: ["CHK-036"], 2: ["CHK-020"], 3: ["CHK-020"], 4: ["CHK-036"], 5: ["CHK-020"],
    }  # fmt: skip


def test_a_unit_for_each_row_is_no_mixture():
    rows = [row | {"Unit": "m/s"} for row in exams("1.3", "1.5", "1.9", "2.0")]
    rows[3] |= {"LSM": "12.0", "Unit": "kPa"}
    assert checked(*rows, by=BY_ROW).quarantined.is_empty()
