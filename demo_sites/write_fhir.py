"""Exams as HL7 FHIR R4: a Bundle, or one resource a line.

Each exam is a DiagnosticReport with an Observation of stiffness and, by transient elastography,
one of attenuation; people and devices stand once in a file. Codes: LOINC 77615-3 (stiffness by
transient elastography), 81894-8 (attenuation), 28614-6 (ultrasound report of the liver); DICOM
130609, 130615, 130616; figures without a code of their own use the product's own code system.
"""

import json
from typing import Any

import polars as pl

from demo_sites.shape import Shape

LOINC = "http://loinc.org"
DCM = "http://dicom.nema.org/resources/ontology/DCM"
UCUM = "http://unitsofmeasure.org"
ABSENT = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
OWN = "https://elastography-qa.example/fhir/CodeSystem/exam-figures"

_FIGURES = (
    # column, code of our own, unit
    ("n_valid", "n-valid", "1"),
    ("n_attempted", "n-attempted", "1"),
    ("fasting_hours", "fasting-hours", "h"),
    ("duration_s", "duration", "s"),
    ("depth_mm", "depth", "mm"),
    ("skin_to_capsule_mm", "skin-to-capsule-distance", "mm"),
    ("bmi", "bmi", "kg/m2"),
)
Resource = dict[str, Any]


def fhir_bytes(table: pl.DataFrame, people: pl.DataFrame, shape: Shape, *, is_lines: bool) -> bytes:
    """Exams of one file.

    Args:
        table: the shape's headings, one exam a row.   people: family_name, given_name, born_on of
            the same rows.
        is_lines: one resource a line (NDJSON) instead of a Bundle.
    """
    exams = list(zip(table.iter_rows(named=True), people.iter_rows(named=True), strict=True))
    known: dict[str, Resource] = {}
    for exam, person in exams:
        for resource in _people_and_things(exam, person):
            known.setdefault(f"{resource['resourceType']}/{resource['id']}", resource)
    resources = [*known.values(), *(one for exam, _ in exams for one in _of_exam(exam, shape))]
    if is_lines:
        return ("\n".join(map(_compact, resources)) + "\n").encode()
    entries = [{"fullUrl": _url(one), "resource": one} for one in resources]
    bundle = {"resourceType": "Bundle", "type": "collection", "entry": entries}
    return (_compact(bundle) + "\n").encode()


def _compact(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def _url(resource: Resource) -> str:
    return f"https://invented.example/fhir/{resource['resourceType']}/{resource['id']}"


def _people_and_things(exam: Resource, person: Resource) -> list[Resource]:
    return [
        {
            "resourceType": "Patient",
            "id": _id("p", exam["patient_id"]),
            "identifier": [{"value": exam["patient_id"]}],
            "name": [{"family": person["family_name"], "given": [person["given_name"]]}],
            "gender": exam["sex"],
            "birthDate": person["born_on"].isoformat(),
        },
        {
            "resourceType": "Practitioner",
            "id": _id("u", exam["operator"]),
            "identifier": [{"value": exam["operator"]}],
        },
        {
            "resourceType": "Device",
            "id": _id("d", exam["device"]),
            "serialNumber": exam["device"],
        },
    ]


def _id(letter: str, text: str) -> str:
    """FHIR ids hold letters, digits, hyphens and points."""
    return f"{letter}-{text.replace(' ', '-')}"


def _of_exam(exam: Resource, shape: Shape) -> list[Resource]:
    results = [_stiffness(exam, shape)]
    if exam["attenuation"] is not None:
        results.append(_attenuation(exam))
    report = {
        "resourceType": "DiagnosticReport",
        "id": f"r-{exam['exam_id']}",
        "identifier": [{"value": exam["exam_id"]}],
        "status": exam["status"],
        "code": _coded(LOINC, "28614-6"),
        "subject": {"reference": f"Patient/{_id('p', exam['patient_id'])}"},
        "effectiveDateTime": _moment(exam),
        "result": [{"reference": f"Observation/{one['id']}"} for one in results],
    }
    return [*results, report]


def _stiffness(exam: Resource, shape: Shape) -> Resource:
    is_te = exam["technique"] == "TE"
    code = _coded(LOINC, "77615-3") if is_te else _coded(OWN, "stiffness")
    method = _coded(OWN, "TE") if is_te else _coded(DCM, exam["technique"])
    components = [
        _component(OWN, code, exam[column], unit)
        for column, code, unit in _FIGURES
        if exam[column] is not None
    ]
    if exam["stiffness_iqr"] is not None:
        components.append(_component(OWN, "iqr", exam["stiffness_iqr"], shape.stiffness_unit))
        components.append(_component(DCM, "130615", exam["stated_ratio_pct"], "%"))
    probe = {"code": _coded(OWN, "probe"), "valueCodeableConcept": _coded(OWN, exam["probe"])}
    resource = _observation(exam, "s") | {
        "code": code,
        "method": method,
        "component": [*components, probe],
    }
    if exam["stiffness"] is not None:
        return resource | {"valueQuantity": _quantity(exam["stiffness"], shape.stiffness_unit)}
    return resource | {"dataAbsentReason": _coded(ABSENT, exam["absent_reason"] or "error")}


def _attenuation(exam: Resource) -> Resource:
    return _observation(exam, "a") | {
        "code": _coded(LOINC, "81894-8"),
        "valueQuantity": _quantity(exam["attenuation"], "dB/m"),
        "component": [_component(OWN, "iqr", exam["attenuation_iqr"], "dB/m")],
    }


def _observation(exam: Resource, letter: str) -> Resource:
    return {
        "resourceType": "Observation",
        "id": f"{letter}-{exam['exam_id']}",
        "status": exam["status"],
        "subject": {"reference": f"Patient/{_id('p', exam['patient_id'])}"},
        "effectiveDateTime": _moment(exam),
        "performer": [{"reference": f"Practitioner/{_id('u', exam['operator'])}"}],
        "device": {"reference": f"Device/{_id('d', exam['device'])}"},
    }


def _moment(exam: Resource) -> str:
    return f"{exam['exam_at']:%Y-%m-%dT%H:%M:%S}Z"


def _coded(system: str, code: str) -> Resource:
    return {"coding": [{"system": system, "code": code}]}


def _quantity(value: float, unit: str) -> Resource:
    return {"value": value, "unit": unit, "system": UCUM, "code": unit}


def _component(system: str, code: str, value: float, unit: str) -> Resource:
    return {"code": _coded(system, code), "valueQuantity": _quantity(value, unit)}
