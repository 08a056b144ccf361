"""The profile as an allow-list."""

import polars as pl
import pytest

from qa.intake.mapping import check_headings, mapped_columns, pick_columns
from qa.model.definitions import ColumnMap
from qa.model.errors import ProfileError
from tests.unit.intake.invented import ROW, profile, raw

HEADINGS = list(ROW)


def test_check_headings_gives_what_is_not_let_in():
    allowing = profile(ignore=("Name", "Born on"))
    assert check_headings([*HEADINGS, "Name"], profile=allowing, name="f") == ["Name"]
    assert check_headings(HEADINGS, profile=allowing, name="f") == []


def test_check_headings_unknown_column_is_refused_or_dropped():
    with pytest.raises(ProfileError, match="'Remarks', 'Phone'") as caught:
        check_headings([*HEADINGS, "Remarks", "Phone"], profile=profile(), name="f")
    assert caught.value.code == "INT-014"
    with pytest.raises(ProfileError, match=r"unknown: \(a heading with a long number\)"):
        check_headings([*HEADINGS, "Born 19.07.61"], profile=profile(), name="f")
    dropping = profile(unknown_columns="drop")
    assert check_headings([*HEADINGS, "Phone"], profile=dropping, name="f") == ["Phone"]


@pytest.mark.parametrize(
    ("found", "nearest"), [("LSM  iqr", "'LSM  iqr'"), ("LSM_IQR", "'LSM_IQR'"), ("zzz", "")]
)
def test_check_headings_missing_column_names_the_nearest(found: str, nearest: str):
    headings = [found if heading == "LSM IQR" else heading for heading in HEADINGS]
    with pytest.raises(ProfileError, match="'LSM IQR' is missing") as caught:
        check_headings(headings, profile=profile(unknown_columns="drop"), name="f")
    assert caught.value.code == "INT-013"
    assert ("nearest" in caught.value.what, nearest in caught.value.what) == (bool(nearest), True)


def test_check_headings_optional_column_may_be_absent():
    optional = profile(ColumnMap("bmi", ("BMI",), is_optional=True))
    assert check_headings(HEADINGS, profile=optional, name="f") == []


@pytest.mark.parametrize(("n_there", "code"), [(7, "INT-015"), (8, "INT-013")])
def test_check_headings_half_of_them_makes_a_row_of_headings(n_there: int, code: str):
    headings = HEADINGS[:n_there] + [f"Quill {n}" for n in range(16 - n_there)]
    with pytest.raises(ProfileError) as caught:
        check_headings(headings, profile=profile(), name="f")
    assert caught.value.code == code
    assert "Quill" not in str(caught.value)


def picked(column: ColumnMap, *rows: dict[str, str | None]) -> list[tuple]:
    frame = pick_columns(raw(*rows), profile=profile(column))
    return frame.select(f"{column.target}_text", f"{column.target}_word").rows()


def test_pick_columns_takes_only_what_is_mapped():
    frame = pick_columns(raw(ROW | {"Name": "x"}), profile=profile(ignore=("Name",)))
    assert "Name" not in frame.columns
    assert "x" not in frame.row(0)


@pytest.mark.parametrize("cell", [None, "", "  ", "NA", " NA "])
def test_pick_columns_missing_marks_are_null(cell: str | None):
    assert picked(ColumnMap("bmi", ("Age",)), {"Age": cell}) == [(None, None)]


def test_pick_columns_codes_constants_and_missing_as():
    codes = (("S", "standard"), ("L", "large-patient"))
    column = ColumnMap("probe", ("Probe",), codes=codes, missing_as="unknown")
    assert picked(column, {"Probe": "S"}, {"Probe": "x"}, {"Probe": ""}) == [
        ("S", "standard"),
        ("x", None),
        (None, "unknown"),
    ]
    assert picked(ColumnMap("technique", constant="TE"), {}) == [("TE", "TE")]


def test_pick_columns_absent_column_is_not_an_empty_cell():
    """`missing_as` says what an empty cell means; a column that was not sent means nothing."""
    column = ColumnMap("fasting_kept", ("Kept",), missing_as="kept", is_optional=True)
    assert picked(column, {}) == [(None, None)]
    assert picked(column, {"Kept": ""}) == [(None, "kept")]


@pytest.mark.parametrize(
    ("target", "cells", "joined"),
    [
        ("site", ("134", "1"), "134-1"),
        ("site", ("134", None), None),
        ("exam_id", (None, "1"), None),
        ("performed", ("4", "1"), "4-1"),
        ("performed", ("1", None), "1-"),
        ("performed", (None, "1"), "-1"),
        ("performed", (None, None), None),
    ],
)
def test_pick_columns_joins_headings(target: str, cells: tuple, joined: str | None):
    column = ColumnMap(target, ("one", "two"))
    [(text, _)] = picked(column, {"one": cells[0], "two": cells[1]})
    assert text == joined


@pytest.mark.parametrize(
    ("day", "hour", "joined"),
    [
        ("%d/%m/%Y", "%H:%M:%S", "%d/%m/%Y %H:%M:%S"),
        ("%d/%m/%Y", None, "%d/%m/%Y %H:%M"),
        (None, "%H.%M", "%Y-%m-%d %H.%M"),
        (None, None, None),
    ],
)
def test_mapped_columns_joins_day_and_time(day: str | None, hour: str | None, joined: str | None):
    split = profile(
        ColumnMap("exam_date", ("Day",), date_format=day),
        ColumnMap("exam_time", ("Hour",), date_format=hour),
        without=("exam_at",),
    )
    [column] = [one for one in mapped_columns(split) if one.target == "exam_at"]
    assert (column.headings, column.date_format) == (("Day", "Hour"), joined)


def test_pick_columns_no_rows_gives_all_columns():
    assert (
        pick_columns(raw({}).clear(), profile=profile()).schema
        == pick_columns(raw({}), profile=profile()).schema
    )
    assert pick_columns(raw({}).clear(), profile=profile()).schema["probe_word"] == pl.String
