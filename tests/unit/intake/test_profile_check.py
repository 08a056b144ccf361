"""A profile that contradicts itself is refused before any file is read."""

from dataclasses import replace

import pytest

from qa.intake.profile_check import check_profile
from qa.model.definitions import ColumnMap, Measurements
from qa.model.errors import ProfileError
from tests.unit.intake.invented import profile


def test_check_profile_good_profile_passes():
    check_profile(profile())
    check_profile(
        profile(
            ColumnMap("exam_date", ("Day",)), ColumnMap("exam_time", ("T",)), without=("exam_at",)
        )
    )
    check_profile(profile(ColumnMap("stiffness", ("L",)), ColumnMap("stiffness_unit", ("Unit",))))


COLUMNS = [
    (ColumnMap("liver_colour", ("x",)), "[columns.liver_colour] is no column of the network"),
    (ColumnMap("bmi"), "[columns.bmi] has no source"),
    (ColumnMap("bmi", ("x",), constant="1"), "[columns.bmi] has no source"),
    (ColumnMap("indication", ("x",)), "[columns.indication] has no codes"),
    (ColumnMap("not_performed_reason", ("x",)), "[columns.not_performed_reason] has no codes"),
    (ColumnMap("probe", ("x",), codes=(("1", "big"),)), "maps to 'big'"),
    (ColumnMap("probe", ("x",), missing_as="none"), "maps to 'none'"),
    (ColumnMap("technique", constant="ultrasound"), "maps to 'ultrasound'"),
    (ColumnMap("stiffness", ("x",)), "[columns.stiffness] needs one statement of its unit"),
    (ColumnMap("stiffness", ("x",), unit="Pa"), "has the unit 'Pa'"),
    (ColumnMap("stiffness_iqr", ("x",), unit="m/s"), "is in m/s and the median in kPa"),
    (ColumnMap("attenuation", ("x",), unit="dB"), "has the unit 'dB'"),
    (ColumnMap("stiffness_unit", ("x",)), "[columns.stiffness] needs one statement of its unit"),
]


@pytest.mark.parametrize(("column", "words"), COLUMNS)
def test_check_profile_wrong_column(column: ColumnMap, words: str):
    with pytest.raises(ProfileError) as caught:
        check_profile(profile(column))
    assert caught.value.code == "PRF-003"
    assert words in caught.value.what
    assert caught.value.expected


@pytest.mark.parametrize(
    "setting",
    [
        {"format": "docx"},
        {"delimiter": ""},
        {"delimiter": ";;"},
        {"delimiter": "§"},
        {"decimal": ";"},
        {"header_row": 0},
        {"unknown_columns": "keep"},
    ],
)
def test_check_profile_wrong_file_setting(setting: dict):
    with pytest.raises(ProfileError) as caught:
        check_profile(profile(**setting))
    assert next(iter(setting)) in caught.value.what


@pytest.mark.parametrize(
    "target", ["exam_id", "patient_id", "operator", "device", "technique", "exam_at"]
)
def test_check_profile_needed_target_is_missing(target: str):
    with pytest.raises(ProfileError, match=rf"\[columns.{target}\] is missing"):
        check_profile(profile(without=(target,)))


READINGS = Measurements("rows", ("Reading",), 7, unit="kPa")
WITHOUT = ("stiffness", "stiffness_iqr")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"layout": "row"}, "layout is 'row'"),
        ({"headings": ()}, "0 headings"),
        ({"headings": ("R1", "R2")}, "2 headings"),
        ({"headings": ("R *",)}, "heading with '*'"),
        ({"quartile_type": 0}, "quartile_type is 0"),
        ({"quartile_type": 10}, "quartile_type is 10"),
        ({"valid_heading": "OK"}, "by halves"),
        ({"valid_values": ("1",)}, "by halves"),
        ({"layout": "columns", "order_heading": "No"}, "key for rows only"),
        ({"first_of": ("bmi",)}, "names 'bmi'"),
        ({"first_of": ("exam_id",)}, "names 'exam_id'"),
        ({"mean_of": ("probe",)}, "mean_of 'probe'"),
        ({"unit": None}, "needs one statement of its unit"),
        ({"unit": "kpa"}, "needs one statement of its unit"),
    ],
)
def test_check_profile_wrong_measurements(changes: dict, words: str):
    with pytest.raises(ProfileError) as caught:
        check_profile(profile(without=WITHOUT, measurements=replace(READINGS, **changes)))
    assert caught.value.code == "PRF-003"
    assert words in caught.value.message


def test_check_profile_measurements_in_the_unit_of_the_median():
    check_profile(profile(without=WITHOUT, measurements=READINGS))
    check_profile(profile(measurements=replace(READINGS, unit=None)))
    check_profile(profile(measurements=READINGS))
    with pytest.raises(ProfileError, match="one statement of its unit"):
        check_profile(profile(measurements=replace(READINGS, unit="m/s")))


@pytest.mark.parametrize("target", ["measurement", "measurement_valid"])
def test_check_profile_measurements_have_a_table_of_their_own(target: str):
    with pytest.raises(ProfileError, match="is filled otherwise"):
        check_profile(profile(ColumnMap(target, ("Reading",))))
