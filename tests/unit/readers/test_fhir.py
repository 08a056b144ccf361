"""FHIR → rows of exams. Shapes: HL7 FHIR R4, as fhir.resources models it."""

import gzip
import json

import pytest
from fhir.resources.R4B.bundle import Bundle

from qa.model.errors import SourceFileError
from qa.model.file_problems import ROW_NO
from qa.readers.exam_columns import EXAM_COLUMNS
from qa.readers.fhir import read_fhir
from qa.readers.fhir_codes import DCM, LOCAL, SCT, UCUM
from tests.unit.readers.writers import (
    PEOPLE_AND_THINGS,
    attenuation,
    bundle,
    coded,
    component,
    failed,
    ndjson,
    observation,
    profile,
    quantity,
    report,
    stiffness,
)

EXAM = (*PEOPLE_AND_THINGS, stiffness(), attenuation(), report("s1", "a1"))


def read(content: bytes) -> list[dict]:
    frame = read_fhir(content, name="f", profile=profile("fhir"))
    assert frame.columns[: len(EXAM_COLUMNS) + 1] == [ROW_NO, *EXAM_COLUMNS]
    return frame.rows(named=True)


def one(*resources: dict) -> dict:
    (row,) = read(bundle(*resources))
    return row


def code_of(*resources: dict) -> str:
    with pytest.raises(SourceFileError) as caught:
        read(bundle(*resources))
    return caught.value.code


@pytest.mark.parametrize("content", [bundle(*EXAM), bundle(failed())])
def test_the_examples_are_fhir_r4_by_another_library(content: bytes):
    assert Bundle.model_validate_json(content).entry


WHOLE = {
    "exam_id": "E-1001", "patient_id": "MRN-77", "operator": "31", "device": "SN-4",
    "technique": "TE", "probe": "large-patient", "status": "final", "n_attempted": "12",
    "n_valid": "10", "stiffness": "9.2", "stiffness_unit": "kPa", "stiffness_iqr": "1.1",
    "stated_ratio_pct": "12", "attenuation": "245", "attenuation_unit": "dB/m",
    "attenuation_iqr": "31", "age_years": "64", "sex": "female",
    "exam_at": "2026-03-05T14:20:00+01:00",
}  # fmt: skip


@pytest.mark.parametrize(
    "content",
    [bundle(*EXAM), ndjson(*EXAM), ndjson(*reversed(EXAM)), gzip.compress(ndjson(*EXAM))],
    ids=["bundle", "ndjson", "another order", "gzip"],
)
def test_read_fhir_one_row_for_a_report_with_its_results(content: bytes):
    (row,) = read(content)
    assert {column: text for column, text in row.items() if text is not None} == {
        ROW_NO: 1,
        **WHOLE,
    }


def test_read_fhir_keeps_no_name_and_no_birth_date():
    row = one(*EXAM)
    assert not {"Invented", "Person", "1961-03-06"} & set(map(str, row.values()))


def test_read_fhir_a_failed_exam_has_a_reason_and_no_value():
    row = one(failed())
    assert (row["absent_reason"], row["stiffness"], row["n_valid"]) == ("error", None, "0")


@pytest.mark.parametrize("key", ["reference", "https://host/fhir/Patient/p9/_history/2"])
def test_read_fhir_a_patient_outside_the_file_is_known_by_its_id(key: str):
    target = "Patient/p9" if key == "reference" else key
    assert one(stiffness(subject={"reference": target}))["patient_id"] == "p9"


@pytest.mark.parametrize(
    ("of_report", "of_stiffness", "status"),
    [
        ("final", "final", "final"),
        ("amended", "final", "amended"),
        ("final", "amended", "amended"),
        ("final", "entered-in-error", "entered-in-error"),
        ("entered-in-error", "final", "entered-in-error"),
        ("cancelled", "final", "cancelled"),
        ("preliminary", "amended", "preliminary"),
    ],
)
def test_read_fhir_status_of_the_exam(of_report: str, of_stiffness: str, status: str):
    parts = (stiffness(status=of_stiffness), report("s1", status=of_report))
    assert one(*parts)["status"] == status


def test_read_fhir_attenuation_in_error_takes_back_no_exam():
    row = one(stiffness(), attenuation(status="entered-in-error"), report("s1", "a1"))
    assert (row["status"], row["stiffness"], row["attenuation"]) == ("final", "9.2", None)


def test_read_fhir_a_value_in_error_gives_way_to_the_one_that_replaces_it():
    wrong = stiffness("s0", status="entered-in-error", valueQuantity=quantity(92, "kPa"))
    row = one(wrong, stiffness(), report("s0", "s1"))
    assert (row["status"], row["stiffness"]) == ("final", "9.2")


def test_read_fhir_a_cancelled_report_without_results_is_a_row():
    row = one(report(status="cancelled", result=None))
    assert (row["exam_id"], row["status"], row["stiffness"]) == ("E-1001", "cancelled", None)


def test_read_fhir_of_two_versions_the_later_counts():
    old = stiffness(meta={"versionId": "1"}, valueQuantity=quantity(5, "kPa"))
    new = stiffness(meta={"versionId": "2"}, status="amended")
    assert one(new, old) == one(old, new) | {ROW_NO: 1}
    assert one(old, new)["stiffness"] == "9.2"


@pytest.mark.parametrize(
    ("method", "code", "technique"),
    [
        (None, None, "TE"),
        (coded(DCM, "130616"), coded(LOCAL, "stiffness"), "pSWE"),
        (coded(DCM, "130609"), coded(LOCAL, "stiffness"), "2D-SWE"),
        (coded("http://other", "130609"), coded(LOCAL, "stiffness"), None),
        (coded(DCM, "130616"), None, "TE and pSWE"),
    ],
)
def test_read_fhir_technique_from_code_and_method(method, code, technique):
    changes = {key: value for key, value in (("method", method), ("code", code)) if value}
    assert one(stiffness(**changes))["technique"] == technique


@pytest.mark.parametrize(
    ("given", "column", "text"),
    [
        (component((LOCAL, "iqr"), 0.2, "m/s"), "stiffness_iqr", "0.2 m/s"),
        (component((DCM, "130614"), 1.5, "kPa"), "stiffness_iqr", "1.5"),
        (component((DCM, "130615"), 0.12, "1"), "stated_ratio_pct", "12"),
        (component(("http://other", "130614"), 1.5, "kPa"), "stiffness_iqr", None),
        (component((LOCAL, "fasting-hours"), 3, "h"), "fasting_hours", "3"),
        (component((LOCAL, "fasting-hours"), 2, "d"), "fasting_hours", "2 d"),
        (component((SCT, "60621009"), 31.5, "kg/m2"), "bmi", "31.5"),
        (component((LOCAL, "skin-to-capsule-distance"), 21, "mm"), "skin_to_capsule_mm", "21"),
        ({"code": coded(LOCAL, "n-valid"), "valueInteger": 10}, "n_valid", "10"),
    ],
)
def test_read_fhir_components(given: dict, column: str, text: str | None):
    assert one(stiffness(component=[given]))[column] == text


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (quantity(1.75, "m/s"), ("1.75", "m/s")),
        ({"value": 9.2, "unit": "kPa"}, ("9.2", "kPa")),
        (quantity(75, "kPa") | {"comparator": ">"}, (">75", "kPa")),
        ({"value": 9.2, "system": UCUM, "code": "cm"}, ("9.2", "cm")),
        ({"value": 9.2}, ("9.2", None)),
    ],
)
def test_read_fhir_value_with_its_unit(value: dict, expected: tuple):
    row = one(stiffness(valueQuantity=value))
    assert (row["stiffness"], row["stiffness_unit"]) == expected


def test_read_fhir_numbers_keep_their_digits():
    text = bundle(stiffness()).replace(b"9.2", b"9.20")
    assert read(text)[0]["stiffness"] == "9.20"


def test_read_fhir_attenuation_in_the_other_unit():
    row = one(
        stiffness(), attenuation(valueQuantity=quantity(0.7, "dB/(cm.MHz)")), report("s1", "a1")
    )
    assert (row["attenuation"], row["attenuation_unit"]) == ("0.7", "dB/cm/MHz")


def test_read_fhir_single_measurements_get_columns_of_their_own():
    shots = [component((LOCAL, "measurement"), value, "kPa") for value in (5.1, 5.3)]
    row = one(stiffness(component=shots))
    assert (row["measurement 1"], row["measurement 2"]) == ("5.1", "5.3")


def test_read_fhir_lone_observations_pair_by_their_identifier():
    number = {"identifier": [{"value": "E-7"}]}
    row = one(stiffness(**number), attenuation(**number))
    assert (row["exam_id"], row["attenuation"]) == ("E-7", "245")


def test_read_fhir_two_stiffness_values_of_a_report_are_two_exams():
    other = stiffness("s2", code=coded(LOCAL, "stiffness"), method=coded(DCM, "130616"))
    rows = read(bundle(stiffness(), other, report("s1", "s2")))
    assert [(row["exam_id"], row["technique"]) for row in rows] == [("s1", "TE"), ("s2", "pSWE")]


def test_read_fhir_passes_over_what_is_no_exam():
    heart_rate = observation("h1", "8867-4")
    spleen = stiffness("s9", bodySite=coded(SCT, "78961009"))
    others = (heart_rate, spleen, {"resourceType": "Encounter", "id": "e"})
    assert len(read(bundle(*others, stiffness(bodySite=coded(SCT, "10200004"))))) == 1


@pytest.mark.parametrize(
    ("resources", "code"),
    [
        ([stiffness(status=None)], "INT-032"),
        ([stiffness(status="done")], "INT-032"),
        ([stiffness(code=None)], "INT-032"),
        ([stiffness(valueQuantity={"value": "9.2"})], "INT-032"),
        ([stiffness(component={"code": 1})], "INT-032"),
        ([stiffness(subject="Patient/p1")], "INT-032"),
        ([stiffness(dataAbsentReason=coded("s", "error"))], "INT-032"),
        ([{"resourceType": "Observation <b>"}], "INT-032"),
        ([stiffness(identity="")], "INT-032"),
        ([stiffness(subject={"reference": "urn:uuid:1"})], "INT-033"),
        ([report("s1")], "INT-033"),
        ([stiffness(), attenuation()], "INT-033"),
        ([stiffness(), stiffness(effectiveDateTime="2026-03-06")], "INT-036"),
        ([stiffness(), stiffness("s2"), attenuation(), report("s1", "s2", "a1")], "INT-036"),
        ([stiffness(), report("s1", subject={"reference": "Patient/p2"})], "INT-036"),
        ([stiffness(component=[component((LOCAL, "iqr"), n, "kPa") for n in (1, 2)])], "INT-036"),
        ([observation("h1", "8867-4")], "INT-037"),
        ([], "INT-037"),
    ],
)
def test_read_fhir_refuses(resources: list[dict], code: str):
    assert code_of(*resources) == code


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "INT-001"),
        (b"\xff{}", "INT-004"),
        (b"a;b\n", "INT-030"),
        (b"[" * 100_000, "INT-030"),
        (b"[]," * 200_000, "INT-023"),
        (b'{"resourceType": "Bundle", "entry": [{"resource": 1}]}', "INT-032"),
        (b'{"resourceType": "Bundle", "entry": {}}', "INT-032"),
        (b'{"resourceType": "Bundle", "resourceType": "Bundle"}', "INT-031"),
        (bundle(stiffness(identity="\0")), "INT-007"),
        (gzip.compress(b'{"a": "' + b" " * 60_000_000), "INT-021"),
    ],
)
def test_read_fhir_refuses_what_is_no_fhir(content: bytes, code: str):
    with pytest.raises(SourceFileError) as caught:
        read(content)
    assert caught.value.code == code


def test_read_fhir_message_names_the_place_and_no_value():
    with pytest.raises(SourceFileError) as caught:
        read(ndjson(*PEOPLE_AND_THINGS, stiffness(status="Invented")))
    assert "line 4" in caught.value.message
    assert "Observation.status" in caught.value.message
    assert "Invented" not in caught.value.message


def test_read_fhir_refuses_a_deletion():
    entry = {"resource": stiffness(), "request": {"method": "DELETE", "url": "x"}}
    document = {"resourceType": "Bundle", "type": "transaction", "entry": [entry]}
    with pytest.raises(SourceFileError) as caught:
        read(json.dumps(document).encode())
    assert caught.value.code == "INT-032"
