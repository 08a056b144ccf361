"""What a quarantined row may show: short figures and codes, never what may name a person."""

import pytest

from qa.intake.findings import EMPTY, WITHHELD
from qa.model.definitions import ColumnMap
from tests.unit.intake.invented import checked, profile

REASON = ColumnMap("indication", ("Cause",), codes=(("a", "viral"),))


def found(row: dict[str, str], *columns: ColumnMap) -> list[str]:
    return checked(row, by=profile(*columns)).quarantined["found"][0].to_list()


@pytest.mark.parametrize(
    ("row", "shown"),
    [
        ({"LSM": "9,2"}, "9,2"),
        ({"LSM": "920.5"}, "920.5"),
        ({"LSM": ">75"}, ">75"),
        ({"LSM": "1.8 m/s"}, "a value in m/s"),
        ({"LSM": "123456"}, "(text of 6 characters)"),
        ({"LSM": "Quillfeather"}, "(text of 12 characters)"),
        ({"LSM": "90210071"}, WITHHELD),
        ({"Probe": "X"}, "X"),
        ({"Probe": "XYZ"}, "XYZ"),
        ({"Probe": "Otto"}, "(text of 4 characters)"),
        ({"Probe": "probe-7"}, "probe-7"),
        ({"Probe": "19.07.1961"}, "(text of 10 characters)"),
        ({"Probe": "19/7/61"}, "(text of 7 characters)"),
        ({"Probe": "1961-07-19"}, "(text of 10 characters)"),
        ({"Probe": "case 12345"}, "(text of 10 characters)"),
        ({"Operator": "Quill, O."}, "(text of 9 characters)"),
        ({"Operator": "90210071"}, WITHHELD),
        ({"Operator": "no 90210071"}, WITHHELD),
        ({"Operator": "E1"}, WITHHELD),
        ({"Operator": ""}, EMPTY),
        ({"Patient": ""}, EMPTY),
        ({"Date": "05.13.2026 10:00"}, "05.13.2026 10:00"),
        ({"Date": "03.05.1956 10:00"}, "(text of 16 characters)"),
        ({"Date": "born 2016"}, "(text of 9 characters)"),
    ],
)
def test_found_text(row: dict[str, str], shown: str):
    assert found(row)[0] == shown


def test_found_text_of_a_coded_reason_is_not_shown():
    assert found({"Cause": "wife of O. Quill"}, REASON) == ["(text of 16 characters)"]


def quarantined(row: dict[str, str], *columns: ColumnMap, **more) -> dict:
    return checked(row, by=profile(*columns, **more)).quarantined.row(0, named=True)


@pytest.mark.parametrize(
    ("row", "column", "expected"),
    [
        ({"LSM": "9,2"}, "LSM", "the decimal sign '.'"),
        ({"Probe": "X"}, "Probe", "one of the codes S, L"),
        ({"Date": "x"}, "Date", "the form %d.%m.%Y %H:%M"),
        ({"Valid": "13"}, "Valid, Attempted", "at most as many valid as attempted"),
        ({"Operator": "B"}, "Operator", "a code under [[operators]] of this site"),
    ],
)
def test_heading_and_expected_text(row: dict[str, str], column: str, expected: str):
    held = quarantined(row)
    assert (held["columns"], held["expected"]) == ([column], [expected])


def test_heading_text_of_fixed_joined_and_absent_columns():
    fixed = quarantined({}, ColumnMap("technique", constant="pSWE"))
    assert fixed["columns"] == ["(technique: fixed by the profile), Device"]
    joined = quarantined({"Op 1": "B", "Op 2": "7"}, ColumnMap("operator", ("Op 1", "Op 2")))
    assert (joined["columns"], joined["found"]) == (["Op 1 + Op 2"], ["B-7"])
    absent = quarantined({"Done": "0"}, without=("n_valid",))
    assert absent["columns"] == ["Done, (n_valid: not in the file)"]
