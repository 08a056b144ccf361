"""Built-in profiles fit the columns that the readers of coded content give."""

import polars as pl
import pytest

from qa.intake.mapping import check_headings, pick_columns
from qa.intake.profile_check import check_profile
from qa.intake.readings import READINGS
from qa.model.file_problems import ROW_NO
from qa.readers.exam_columns import EXAM_COLUMNS
from qa.readers.fhir_codes import OBSERVATION_STATUS
from qa.readers.read import read_file
from qa.stores.settings import builtin_profiles
from tests.unit.readers.writers import (
    ELASTICITY,
    PEOPLE_AND_THINGS,
    attenuation,
    bundle,
    dicom_report,
    failed,
    median,
    report,
    stiffness,
)

FHIR, DICOM = builtin_profiles()["fhir-r4"], builtin_profiles()["dicom-sr"]


@pytest.mark.parametrize("profile", builtin_profiles().values(), ids=lambda one: one.id)
def test_builtin_profile_holds_together_and_maps_only_columns_of_the_reader(profile):
    check_profile(profile)
    assert {one for column in profile.columns for one in column.headings} <= set(EXAM_COLUMNS)


def words(profile, content: bytes) -> dict[str, str | None]:
    raw = read_file(content, name="f", profile=profile)
    check_headings(raw.columns[1:], profile=profile, name="f")
    (row,) = pick_columns(raw, profile=profile).rows(named=True)
    return {key.removesuffix("_word"): row[key] for key in row if key.endswith("_word")}


def test_fhir_profile_words_of_an_exam():
    content = bundle(*PEOPLE_AND_THINGS, stiffness(), attenuation(), report("s1", "a1"))
    found = words(FHIR, content)
    expected = {
        "technique": "TE", "probe": "large-patient", "performed": "performed",
        "source_status": "final", "sex": "female", "stiffness_unit": "kPa",
        "attenuation_unit": "dB/m", "stiffness": "9.2", "n_valid": "10", "age_years": "64",
    }  # fmt: skip
    assert {key: found[key] for key in expected} == expected


@pytest.mark.parametrize(
    ("status", "word"),
    [
        ("final", "final"),
        ("amended", "amended"),
        ("corrected", "amended"),
        ("entered-in-error", "entered-in-error"),
        ("cancelled", "cancelled"),
        ("registered", None),
        ("preliminary", None),
        ("unknown", None),
    ],
)
def test_fhir_profile_every_status_has_its_word_or_waits(status: str, word: str | None):
    assert status in OBSERVATION_STATUS
    assert words(FHIR, bundle(stiffness(status=status)))["source_status"] == word


@pytest.mark.parametrize("profile", [FHIR, DICOM], ids=["fhir", "dicom"])
def test_builtin_profile_takes_single_readings_in_their_order(profile):
    """The readers name them "measurement 1" and so on, as many as a file has."""
    cells = {"measurement 2": ["5.4"], "measurement 10": ["6.0"], "measurement 1": ["5.2"]}
    raw = pl.DataFrame({ROW_NO: [1], **{key: [None] for key in EXAM_COLUMNS}, **cells})
    raw = raw.with_columns(pl.exclude(ROW_NO).cast(pl.String))
    assert not set(cells) & set(check_headings(raw.columns[1:], profile=profile, name="f"))
    picked = pick_columns(raw, profile=profile)
    assert picked[READINGS].to_list() == [["5.2", "5.4", "6.0"]]


def test_fhir_profile_a_failed_exam_was_performed():
    found = words(FHIR, bundle(failed()))
    assert (found["performed"], found["stiffness"], found["n_valid"]) == ("performed", None, "0")


def test_dicom_profile_words_of_an_exam():
    found = words(DICOM, dicom_report(median(ELASTICITY, "9.2", "kPa")))
    assert (found["stiffness"], found["stiffness_unit"], found["sex"]) == ("9.2", "kPa", "female")
    assert (found["performed"], found["source_status"]) == ("performed", "final")
