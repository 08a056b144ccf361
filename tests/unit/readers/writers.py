"""Write tables and exams in every format, with other libraries than the readers use.

Workbooks by openpyxl, Parquet by pyarrow, DICOM by pydicom, JSON and delimited text by the standard
library. Everything in them is invented.
"""

import csv
import io
import json
import warnings
from collections.abc import Sequence
from typing import Any

import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.sequence import Sequence as Items
from pydicom.uid import UID, ComprehensiveSRStorage, ExplicitVRLittleEndian, generate_uid

from qa.model.definitions import ColumnMap, Profile
from qa.readers.fhir_codes import ABSENT_REASONS, DCM, LOCAL, LOINC, UCUM

Table = Sequence[Sequence[Any]]


def profile(file_format: str = "csv", **changes: Any) -> Profile:
    base = {
        "id": "p", "version": 1, "title": "t", "format": file_format, "delimiter": ";",
        "encoding": "utf-8", "decimal": ".", "header_row": 1, "missing": (),
        "columns": (ColumnMap("exam_id", ("a",)),),
    }  # fmt: skip
    return Profile(**(base | changes))


def write_csv(headings: Sequence[str], rows: Table, *, delimiter: str = ";") -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=delimiter, lineterminator="\n")
    writer.writerows([headings, *rows])
    return text.getvalue().encode()


def write_xlsx(
    headings: Sequence[str], rows: Table, *, top: int = 1, left: int = 1, title: str = "Exams"
) -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = title
    for row_no, row in enumerate([headings, *rows], start=top):
        for column_no, value in enumerate(row, start=left):
            if value is not None:
                cell = sheet.cell(row=row_no, column=column_no)
                cell.value = value
                if isinstance(value, str) and value.startswith("="):
                    cell.data_type = "s"
    return saved(book)


def saved(book: openpyxl.Workbook) -> bytes:
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def write_parquet(headings: Sequence[str], rows: Table, **options: Any) -> bytes:
    columns = {heading: [row[n] for row in rows] for n, heading in enumerate(headings)}
    return parquet_of(pa.table(columns), **options)


def parquet_of(table: pa.Table, **options: Any) -> bytes:
    file = io.BytesIO()
    pq.write_table(table, file, **options)
    return file.getvalue()


def write_jsonl(headings: Sequence[str], rows: Table) -> bytes:
    lines = [json.dumps(dict(zip(headings, row, strict=True)), ensure_ascii=False) for row in rows]
    return "\n".join(lines).encode()


def quantity(value: float, unit: str) -> dict[str, Any]:
    return {"value": value, "unit": unit, "system": UCUM, "code": unit}


def coded(system: str, code: str) -> dict[str, Any]:
    return {"coding": [{"system": system, "code": code}]}


def component(code: tuple[str, str], value: float, unit: str) -> dict[str, Any]:
    return {"code": coded(*code), "valueQuantity": quantity(value, unit)}


def observation(identity: str, loinc: str, /, **changes: Any) -> dict[str, Any]:
    """A stiffness or attenuation Observation of an invented patient."""
    base = {
        "resourceType": "Observation",
        "id": identity,
        "status": "final",
        "code": coded(LOINC, loinc),
        "subject": {"reference": "Patient/p1"},
        "effectiveDateTime": "2026-03-05T14:20:00+01:00",
        "performer": [{"reference": "Practitioner/u31"}],
        "device": {"reference": "Device/d1"},
    }
    return {key: value for key, value in (base | changes).items() if value is not None}


def stiffness(identity: str = "s1", **changes: Any) -> dict[str, Any]:
    figures = {
        "valueQuantity": quantity(9.2, "kPa"),
        "component": [
            component((LOCAL, "iqr"), 1.1, "kPa"),
            component((DCM, "130615"), 12, "%"),
            component((LOCAL, "n-valid"), 10, "1"),
            component((LOCAL, "n-attempted"), 12, "{measurements}"),
            {
                "code": coded(LOCAL, "probe"),
                "valueCodeableConcept": coded(LOCAL, "large-patient"),
            },
        ],
    }
    return observation(identity, "77615-3", **(figures | changes))


def attenuation(identity: str = "a1", **changes: Any) -> dict[str, Any]:
    figures = {
        "valueQuantity": quantity(245, "dB/m"),
        "component": [component((LOCAL, "iqr"), 31, "dB/m")],
    }
    return observation(identity, "81894-8", **(figures | changes))


def failed(identity: str = "s1") -> dict[str, Any]:
    reason = coded(ABSENT_REASONS, "error")
    counts = [component((LOCAL, "n-valid"), 0, "1"), component((LOCAL, "n-attempted"), 14, "1")]
    return stiffness(identity, valueQuantity=None, dataAbsentReason=reason, component=counts)


def report(*results: str, **changes: Any) -> dict[str, Any]:
    base = {
        "resourceType": "DiagnosticReport",
        "id": "r1",
        "status": "final",
        "code": coded(LOINC, "28614-6"),
        "subject": {"reference": "Patient/p1"},
        "identifier": [{"value": "E-1001"}],
        "result": [{"reference": f"Observation/{one}"} for one in results],
    }
    return {key: value for key, value in (base | changes).items() if value is not None}


PEOPLE_AND_THINGS = [
    {
        "resourceType": "Patient",
        "id": "p1",
        "identifier": [{"value": "MRN-77"}],
        "name": [{"family": "Invented", "given": ["Person"]}],
        "gender": "female",
        "birthDate": "1961-03-06",
    },
    {"resourceType": "Practitioner", "id": "u31", "identifier": [{"value": "31"}]},
    {"resourceType": "Device", "id": "d1", "serialNumber": "SN-4"},
]


def bundle(*resources: dict[str, Any]) -> bytes:
    entries = [{"resource": one} for one in resources]
    document = {"resourceType": "Bundle", "type": "collection", "entry": entries}
    return json.dumps(document, indent=1).encode()


def ndjson(*resources: dict[str, Any]) -> bytes:
    return "\n".join(map(json.dumps, resources)).encode()


Code = tuple[str, str, str]
ELASTICITY = ("110830", "DCM", "Elasticity")
SPEED = ("130611", "DCM", "Shear Wave Speed")
ATTENUATION = ("110833", "DCM", "Ultrasound Attenuation")
IQR = ("130614", "DCM", "Interquartile Range of population")
RATIO = ("130615", "DCM", "Interquartile Range to Median ratio of population")
DERIVATION = ("121401", "DCM", "Derivation")
MEDIAN = ("373099004", "SCT", "Median")
MEAN = ("373098007", "SCT", "Mean")
SITE = ("363698007", "SCT", "Finding Site")
LIVER = ("10200004", "SCT", "Liver")
SPLEEN = ("78961009", "SCT", "Spleen")
MODE = ("399264008", "SCT", "Image Mode")
PSWE = ("130616", "DCM", "Point Shear Wave Elastography")
N_VALID = ("n-valid", "99ELASTOQA", "Valid measurements")
FAILURE = ("114006", "DCM", "Measurement failure")
LIVER_REPORT = ("28614-6", "LN", "US Liver Report")


def code_item(code: Code) -> Items:
    """CodeValue holds 16 characters (VR SH), a longer value has an element of its own."""
    item = Dataset()
    value, item.CodingSchemeDesignator, item.CodeMeaning = code
    setattr(item, "CodeValue" if len(value) <= 16 else "LongCodeValue", value)
    return Items([item])


def content(kind: str, concept: Code, *children: Dataset) -> Dataset:
    item = Dataset()
    item.RelationshipType = "CONTAINS"
    item.ValueType = kind
    item.ConceptNameCodeSequence = code_item(concept)
    if children:
        item.ContentSequence = Items(children)
    return item


def number(concept: Code, value: str | None, unit: str, *children: Dataset) -> Dataset:
    item = content("NUM", concept, *children)
    item.MeasuredValueSequence = Items()
    if value is not None:
        measured = Dataset()
        measured.NumericValue = value
        measured.MeasurementUnitsCodeSequence = code_item((unit, "UCUM", unit))
        item.MeasuredValueSequence = Items([measured])
    return item


def coded_value(concept: Code, value: Code) -> Dataset:
    item = content("CODE", concept)
    item.ConceptCodeSequence = code_item(value)
    return item


def median(concept: Code, value: str | None, unit: str, *children: Dataset) -> Dataset:
    return number(concept, value, unit, coded_value(DERIVATION, MEDIAN), *children)


def dicom_report(*items: Dataset, syntax: UID = ExplicitVRLittleEndian, **header: Any) -> bytes:
    """A structured report of an invented patient; items stand in one group of measurements."""
    meta = FileMetaDataset()
    meta.MediaStorageSOPClassUID = ComprehensiveSRStorage
    meta.MediaStorageSOPInstanceUID = generate_uid(entropy_srcs=["report"])
    meta.TransferSyntaxUID = syntax
    top = content("CONTAINER", LIVER_REPORT, content("CONTAINER", LIVER_REPORT, *items))
    top.file_meta = meta
    fields = {
        "SOPClassUID": ComprehensiveSRStorage,
        "SOPInstanceUID": meta.MediaStorageSOPInstanceUID,
        "Modality": "SR",
        "PatientName": "Invented^Person",
        "PatientID": "MRN-77",
        "PatientSex": "F",
        "PatientBirthDate": "19610306",
        "AccessionNumber": "E-1001",
        "StudyInstanceUID": "1.2.3",
        "StudyDate": "20260305",
        "StudyTime": "142000",
        "TimezoneOffsetFromUTC": "+0100",
        "DeviceSerialNumber": "SN-4",
        "CompletionFlag": "COMPLETE",
    }
    file = io.BytesIO()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Some tests write values that are wrong.
        for keyword, value in (fields | header).items():
            setattr(top, keyword, value)
        top.save_as(file, enforce_file_format=True)
    return file.getvalue()
