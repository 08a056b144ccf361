"""DICOM structured reports → a row of an exam. Codes are held against pydicom's dictionary."""

import pytest
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence
from pydicom.sr._concepts_dict import concepts
from pydicom.uid import (
    UID,
    DeflatedExplicitVRLittleEndian,
    ExplicitVRBigEndian,
    ImplicitVRLittleEndian,
)

from qa.model.errors import SourceFileError
from qa.model.file_problems import ROW_NO
from qa.readers.dicom import read_dicom
from qa.readers.dicom_codes import KNOWN, LOCAL_SCHEME
from qa.readers.exam_columns import EXAM_COLUMNS
from tests.unit.readers.writers import (
    ATTENUATION,
    DERIVATION,
    ELASTICITY,
    FAILURE,
    IQR,
    LIVER,
    LIVER_REPORT,
    MEAN,
    MEDIAN,
    MODE,
    N_VALID,
    PSWE,
    RATIO,
    SITE,
    SPEED,
    SPLEEN,
    code_item,
    coded_value,
    content,
    dicom_report,
    median,
    number,
    profile,
)


def read(file: bytes) -> dict:
    frame = read_dicom(file, name="f", profile=profile("dicom"))
    assert frame.columns[: len(EXAM_COLUMNS) + 1] == [ROW_NO, *EXAM_COLUMNS]
    (row,) = frame.rows(named=True)
    return {column: text for column, text in row.items() if text is not None}


def code_of(file: bytes) -> str:
    with pytest.raises(SourceFileError) as caught:
        read(file)
    return caught.value.code


@pytest.mark.parametrize(("scheme", "value"), [key for key in KNOWN if key[0] != LOCAL_SCHEME])
def test_codes_stand_in_the_dicom_dictionary_with_these_meanings(scheme: str, value: str):
    found = {
        meaning.casefold().partition(" (")[0]
        for by_value in concepts[scheme].values()
        for code, (meaning, *_) in by_value.items()
        if code == value
    }
    assert {meaning.casefold() for meaning in KNOWN[scheme, value][1]} <= found


WHO = {
    ROW_NO: 1, "exam_id": "E-1001", "patient_id": "MRN-77", "device": "SN-4", "status": "final",
    "age_years": "64", "sex": "female", "exam_at": "2026-03-05T14:20:00+01:00",
}  # fmt: skip
SPREAD = (number(IQR, "1.1", "kPa"), number(RATIO, "0.12", "1"))


@pytest.mark.parametrize(
    "items",
    [
        (median(ELASTICITY, "9.20", "kPa", *SPREAD), number(N_VALID, "10", "1")),
        (number(N_VALID, "10", "1"), *SPREAD, median(ELASTICITY, "9.20", "kPa")),
        (content("CONTAINER", LIVER_REPORT, *SPREAD), number(N_VALID, "10", "{shots}"),
         content("CONTAINER", LIVER_REPORT, median(ELASTICITY, "9.20", "kPa"))),
    ],
    ids=["nested", "beside", "in groups"],
)  # fmt: skip
def test_read_dicom_finds_figures_in_any_order(items: tuple):
    assert read(dicom_report(*items, coded_value(SITE, LIVER), coded_value(MODE, PSWE))) == WHO | {
        "technique": "pSWE",
        "stiffness": "9.20",
        "stiffness_unit": "kPa",
        "stiffness_iqr": "1.1",
        "stated_ratio_pct": "12.00",
        "n_valid": "10",
    }


@pytest.mark.parametrize("syntax", [ImplicitVRLittleEndian, ExplicitVRBigEndian])
def test_read_dicom_in_the_other_transfer_syntaxes(syntax: UID):
    whole = dicom_report(median(ELASTICITY, "9.2", "kPa"), syntax=syntax)
    assert read(whole)["stiffness"] == "9.2"
    assert code_of(whole[:-3]) == "INT-025"


def test_read_dicom_sequences_without_stated_length():
    item = median(ELASTICITY, "9.2", "kPa")
    item["MeasuredValueSequence"].is_undefined_length = True
    item.MeasuredValueSequence[0].is_undefined_length_sequence_item = True
    whole = dicom_report(item)
    assert read(whole)["stiffness"] == "9.2"
    assert code_of(whole[:-3]) == "INT-025"


def test_read_dicom_missing_counts_are_not_zero():
    row = read(dicom_report(median(ELASTICITY, "9.2", "kPa")))
    assert not {"n_valid", "n_attempted", "absent_reason"} & row.keys()


def test_read_dicom_a_number_that_could_not_be_measured_has_a_reason():
    failed = median(ELASTICITY, None, "kPa")
    failed.NumericValueQualifierCodeSequence = code_item(FAILURE)
    row = read(dicom_report(failed))
    assert row == WHO | {"absent_reason": "error"}


def test_read_dicom_what_is_no_median_is_none():
    row = read(dicom_report(*(number(ELASTICITY, value, "kPa") for value in ("5.1", "5.3"))))
    assert row == WHO | {"measurement 1": "5.1", "measurement 2": "5.3"}
    mean = number(ELASTICITY, "9.2", "kPa", coded_value(DERIVATION, MEAN))
    assert "stiffness" not in read(dicom_report(mean, number(ELASTICITY, "5.1", "kPa")))


def test_read_dicom_of_elasticity_and_speed_elasticity_counts_with_its_own_spread():
    items = [median(SPEED, "1.75", "m/s"), number(IQR, "0.2", "m/s")]
    assert read(dicom_report(*items))["stiffness_iqr"] == "0.2"
    row = read(dicom_report(*items, median(ELASTICITY, "9.2", "kPa"), number(IQR, "1.1", "kPa")))
    assert (row["stiffness"], row["stiffness_unit"], row["stiffness_iqr"]) == ("9.2", "kPa", "1.1")


def test_read_dicom_attenuation_in_either_unit_beside_stiffness():
    for unit, word in (("dB/m", "dB/m"), ("dB/(cm.MHz)", "dB/cm/MHz")):
        items = (median(ELASTICITY, "9.2", "kPa"), median(ATTENUATION, "0.7", unit))
        row = read(dicom_report(*items, number(IQR, "0.1", unit)))
        assert (row["attenuation"], row["attenuation_unit"], row["attenuation_iqr"]) == (
            "0.7", word, "0.1",
        )  # fmt: skip


def test_read_dicom_values_at_another_site_are_left_out():
    spleen = content(
        "CONTAINER", LIVER_REPORT, median(ELASTICITY, "20", "kPa"), coded_value(SITE, SPLEEN)
    )
    assert read(dicom_report(spleen, median(ELASTICITY, "9.2", "kPa")))["stiffness"] == "9.2"
    at_spleen = median(ELASTICITY, "20", "kPa", coded_value(SITE, SPLEEN))
    assert read(dicom_report(at_spleen, median(ELASTICITY, "9.2", "kPa")))["stiffness"] == "9.2"


def test_read_dicom_a_unit_that_does_not_fit_stays_with_the_value():
    row = read(dicom_report(median(ELASTICITY, "9.2", "kPa", number(IQR, "0.2", "m/s"))))
    assert row["stiffness_iqr"] == "0.2 m/s"


@pytest.mark.parametrize(
    ("header", "column", "text"),
    [
        ({"StudyTime": "142033.5"}, "exam_at", "2026-03-05T14:20:33.5+01:00"),
        ({"StudyTime": None}, "exam_at", "2026-03-05"),
        ({"TimezoneOffsetFromUTC": None}, "exam_at", "2026-03-05T14:20:00"),
        ({"StudyDate": None}, "exam_at", None),
        ({"AccessionNumber": None}, "exam_id", "1.2.3"),
        ({"PatientAge": "070Y"}, "age_years", "70"),
        ({"PatientAge": "030M"}, "age_years", "2"),
        ({"PatientBirthDate": None}, "age_years", None),
        ({"PatientSex": "M"}, "sex", "male"),
        ({"PatientSize": "1.72", "PatientWeight": "80"}, "height_cm", "172.0"),
        ({"CompletionFlag": "PARTIAL"}, "status", "partial"),
        ({"PreliminaryFlag": "PRELIMINARY"}, "status", "preliminary"),
    ],
)
def test_read_dicom_header(header: dict, column: str, text: str | None):
    assert read(dicom_report(median(ELASTICITY, "9.2", "kPa"), **header)).get(column) == text


def test_read_dicom_operator_is_a_code_and_never_a_name():
    person = Dataset()
    person.PersonIdentificationCodeSequence = code_item(("31", "99LOCAL", "Invented Person"))
    header = {"OperatorIdentificationSequence": Sequence([person]), "OperatorsName": "Invented^P"}
    row = read(dicom_report(median(ELASTICITY, "9.2", "kPa"), **header))
    assert row["operator"] == "31"
    assert "Invented" not in str(row)


def test_read_dicom_refuses_a_code_with_another_meaning():
    """DCM 126060 is a texture feature; a public builder of reports uses it as a title."""
    assert code_of(dicom_report(median(("110830", "DCM", "Stiffness"), "9.2", "kPa"))) == "INT-035"
    title = ("126060", "DCM", "General Ultrasound Report")
    assert code_of(dicom_report(content("CONTAINER", title))) == "INT-035"


def test_read_dicom_passes_over_a_value_of_another_scheme():
    other = median(("110830", "99OTHER", "Elasticity"), "9.2", "kPa")
    assert code_of(dicom_report(other)) == "INT-037"


def nested(depth: int) -> Dataset:
    item = content("CONTAINER", LIVER_REPORT)
    for _ in range(depth):
        item = content("CONTAINER", LIVER_REPORT, item)
    return item


GOOD = dicom_report(median(ELASTICITY, "9.2", "kPa"))


@pytest.mark.parametrize(
    ("file", "code"),
    [
        (b"", "INT-001"),
        (b"a;b\n1;2\n", "INT-024"),
        (bytes(128) + b"DICM", "INT-034"),
        (bytes(128) + b"DICM" + b"\xff" * 100, "INT-025"),
        *((GOOD[:-n], "INT-025") for n in (1, 2, 9, 20, 200)),
        (dicom_report(SOPClassUID="1.2.840.10008.5.1.4.1.1.6.1"), "INT-034"),
        (dicom_report(PatientID=["A", "B"]), "INT-034"),
        (dicom_report(AccessionNumber="9" * 2_000), "INT-034"),
        (dicom_report(nested(40)), "INT-034"),
        (dicom_report(syntax=DeflatedExplicitVRLittleEndian), "INT-034"),
        (dicom_report(*(median(ELASTICITY, value, "kPa") for value in ("9", "8"))), "INT-036"),
        (dicom_report(), "INT-037"),
        (GOOD + b"\xfe\xff\x00\xe0\0\0\0\0" * 30_000, "INT-023"),
        (GOOD + bytes(5_000_000), "INT-020"),
    ],
)
def test_read_dicom_refuses(file: bytes, code: str):
    assert code_of(file) == code


def test_read_dicom_a_length_that_lies_is_damage():
    at = GOOD.rindex(b"SQ\0\0", 0, GOOD.index(b"US Liver Report")) + 4
    assert code_of(GOOD[:at] + b"\xf0\xff\xff\x7f" + GOOD[at + 4 :]) == "INT-025"


def test_median_is_written_with_a_derivation():
    (child,) = median(ELASTICITY, "9.2", "kPa").ContentSequence
    assert child.ConceptCodeSequence[0].CodeMeaning == MEDIAN[2]


SKIN = ("skin-to-capsule-distance", "99ELASTOQA", "Skin-to-capsule distance")
OWN_URN = "https://elastography-qa.example/fhir/CodeSystem/exam-figures#skin-to-capsule-distance"


def with_code(item: Dataset, sequence: str, **elements: str | None) -> Dataset:
    """An item whose code is written with other elements; None takes one away."""
    for keyword, value in elements.items():
        if value is None:
            delattr(item[sequence].value[0], keyword)
        else:
            setattr(item[sequence].value[0], keyword, value)
    return item


def test_read_dicom_skin_to_capsule_distance_whose_code_is_too_long_for_code_value():
    """PS3.3 section 8.1: LongCodeValue where the value has more than 16 characters."""
    distance = number(SKIN, "21.5", "mm")
    assert "LongCodeValue" in distance.ConceptNameCodeSequence[0]
    row = read(dicom_report(median(ELASTICITY, "9.2", "kPa"), distance))
    assert row["skin_to_capsule_mm"] == "21.5"
    far = read(dicom_report(median(ELASTICITY, "9.2", "kPa"), number(SKIN, "2.1", "cm")))
    assert far["skin_to_capsule_mm"] == "2.1 cm"


@pytest.mark.parametrize("scheme", ["99ELASTOQA", None], ids=["with its scheme", "alone"])
def test_read_dicom_a_code_written_as_urn(scheme: str | None):
    distance = with_code(
        number(SKIN, "21.5", "mm"),
        "ConceptNameCodeSequence",
        LongCodeValue=None,
        CodingSchemeDesignator=scheme,
        URNCodeValue=OWN_URN,
    )
    row = read(dicom_report(median(ELASTICITY, "9.2", "kPa"), distance))
    assert row["skin_to_capsule_mm"] == "21.5"


def test_read_dicom_a_urn_of_snomed_counts_with_its_meaning():
    urn = "http://snomed.info/id/10200004"
    site = coded_value(SITE, ("10200004", "SCT", "Liver"))
    written = {"CodeValue": None, "CodingSchemeDesignator": None, "URNCodeValue": urn}
    with_code(site, "ConceptCodeSequence", **written)
    assert read(dicom_report(site, median(ELASTICITY, "9.2", "kPa")))["stiffness"] == "9.2"
    site.ConceptCodeSequence[0].CodeMeaning = "Spleen"
    assert code_of(dicom_report(site, median(ELASTICITY, "9.2", "kPa"))) == "INT-035"


def test_read_dicom_a_long_code_of_the_operator():
    person = Dataset()
    person.PersonIdentificationCodeSequence = code_item(("OPERATOR-NORTH-0031", "99LOCAL", "x"))
    header = {"OperatorIdentificationSequence": Sequence([person])}
    row = read(dicom_report(median(ELASTICITY, "9.2", "kPa"), **header))
    assert row["operator"] == "OPERATOR-NORTH-0031"


def test_read_dicom_refuses_a_code_with_two_values():
    item = median(ELASTICITY, "9.2", "kPa")
    with_code(item, "ConceptNameCodeSequence", LongCodeValue="another")
    assert code_of(dicom_report(item)) == "INT-034"
