"""A profile that contradicts itself is refused before any file is read."""

import pytest

from qa.intake.profile_check import check_profile
from qa.model.definitions import ColumnMap
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
