"""One exam as a DICOM structured report, written by pydicom.

Codes: DICOM PS3.16, DCM 130611 (shear wave speed), 130613 (depth), 130614 and 130615 (spread of a
population), 114006 and 114007 (why a number is missing), SCT 373099004 (median), 10200004 (liver).
Counts and preparation use the product's own scheme, as no code for them is known.
"""

import io
from typing import TYPE_CHECKING, Any

from demo_sites.shape import Shape

if TYPE_CHECKING:
    from pydicom.dataset import Dataset
    from pydicom.uid import UID

Code = tuple[str, str, str]
_SPEED: Code = ("130611", "DCM", "Shear Wave Speed")
_IQR: Code = ("130614", "DCM", "Interquartile Range of population")
_DEPTH: Code = ("130613", "DCM", "ROI Depth")
_DERIVATION: Code = ("121401", "DCM", "Derivation")
_MEDIAN: Code = ("373099004", "SCT", "Median")
_SITE: Code = ("363698007", "SCT", "Finding Site")
_LIVER: Code = ("10200004", "SCT", "Liver")
_MODE: Code = ("399264008", "SCT", "Image Mode")
_REPORT: Code = ("28614-6", "LN", "US Liver Report")
_FAILED: Code = ("114006", "DCM", "Measurement failure")
_NOT_TRIED: Code = ("114007", "DCM", "Measurement not attempted")
_MODES: dict[str, Code] = {
    "130616": ("130616", "DCM", "Point Shear Wave Elastography"),
    "130609": ("130609", "DCM", "2D Shear Wave Elastography"),
}
_PROBE: Code = ("probe", "99ELASTOQA", "Probe")
_STANDARD: Code = ("standard", "99ELASTOQA", "Standard probe")
_OWN: tuple[tuple[str, Code, str], ...] = (
    ("n_valid", ("n-valid", "99ELASTOQA", "Valid measurements"), "1"),
    ("n_attempted", ("n-attempted", "99ELASTOQA", "Attempted measurements"), "1"),
    ("fasting_hours", ("fasting-hours", "99ELASTOQA", "Fasting hours"), "h"),
    ("duration_s", ("duration", "99ELASTOQA", "Duration of the exam"), "s"),
    ("bmi", ("60621009", "SCT", "Body mass index"), "kg/m2"),
    ("depth_mm", _DEPTH, "mm"),
)  # fmt: skip


def dicom_bytes(exam: dict[str, Any], person: dict[str, Any], shape: Shape) -> bytes:
    """A whole file.

    Args: exam: the shape's headings.   person: family_name, given_name, born_on.
    """
    from pydicom.dataset import FileMetaDataset
    from pydicom.uid import ComprehensiveSRStorage, ExplicitVRLittleEndian

    meta = FileMetaDataset()
    meta.MediaStorageSOPClassUID = ComprehensiveSRStorage
    meta.MediaStorageSOPInstanceUID = _uid(exam, 1)
    meta.TransferSyntaxUID = ExplicitVRLittleEndian
    report = _container(_REPORT, _container(_REPORT, *_items(exam, shape)))
    report.file_meta = meta
    for keyword, value in _header(exam, person).items():
        setattr(report, keyword, value)
    report.OperatorIdentificationSequence = [_operator(exam["operator"])]
    file = io.BytesIO()
    report.save_as(file, enforce_file_format=True)
    return file.getvalue()


def _header(exam: dict[str, Any], person: dict[str, Any]) -> dict[str, Any]:
    from pydicom.uid import ComprehensiveSRStorage

    return {
        "SOPClassUID": ComprehensiveSRStorage,
        "SOPInstanceUID": _uid(exam, 1),
        "StudyInstanceUID": _uid(exam, 2),
        "SeriesInstanceUID": _uid(exam, 3),
        "Modality": "SR",
        "SpecificCharacterSet": "ISO_IR 192",
        "PatientName": f"{person['family_name']}^{person['given_name']}",
        "PatientID": exam["patient_id"],
        "PatientBirthDate": f"{person['born_on']:%Y%m%d}",
        "PatientSex": exam["sex"],
        "AccessionNumber": exam["exam_id"],
        "StudyDate": f"{exam['exam_at']:%Y%m%d}",
        "StudyTime": f"{exam['exam_at']:%H%M%S}",
        "TimezoneOffsetFromUTC": "+0000",
        "DeviceSerialNumber": exam["device"],
        "CompletionFlag": "COMPLETE",
    }


def _uid(exam: dict[str, Any], part: int) -> "UID":
    """The same exam has the same identifiers; 2.25 is for numbers that nobody gave out."""
    from pydicom.uid import UID

    digits = int.from_bytes(exam["exam_id"].encode(), "big")
    return UID(f"2.25.{digits}.{part}"[:64])


def _items(exam: dict[str, Any], shape: Shape) -> list["Dataset"]:
    unit = shape.stiffness_unit
    own = [
        _number(code, exam[column], its_unit)
        for column, code, its_unit in _OWN
        if exam[column] is not None
    ]
    spread = exam["stiffness_iqr"]
    median = _number(
        _SPEED,
        exam["stiffness"],
        unit,
        _coded_item(_DERIVATION, _MEDIAN),
        *([] if spread is None else [_number(_IQR, spread, unit)]),
    )
    if exam["stiffness"] is None:
        reason = _FAILED if exam["absent_reason"] is None else _NOT_TRIED
        median.NumericValueQualifierCodeSequence = [_code(reason)]
    mode = _coded_item(_MODE, _MODES[exam["technique"]])
    return [_coded_item(_SITE, _LIVER), mode, _coded_item(_PROBE, _STANDARD), median, *own]


def _operator(code: str) -> "Dataset":
    from pydicom.dataset import Dataset

    person = Dataset()
    person.PersonIdentificationCodeSequence = [_code((code, "99INVENTED", "Operator"))]
    person.InstitutionName = "Invented clinic"
    return person


def _code(code: Code) -> "Dataset":
    from pydicom.dataset import Dataset

    item = Dataset()
    item.CodeValue, item.CodingSchemeDesignator, item.CodeMeaning = code
    return item


def _item(kind: str, concept: Code, *children: "Dataset") -> "Dataset":
    from pydicom.dataset import Dataset

    item = Dataset()
    item.RelationshipType = "CONTAINS"
    item.ValueType = kind
    item.ConceptNameCodeSequence = [_code(concept)]
    if children:
        item.ContentSequence = list(children)
    return item


def _container(concept: Code, *children: "Dataset") -> "Dataset":
    item = _item("CONTAINER", concept, *children)
    item.ContinuityOfContent = "SEPARATE"
    return item


def _coded_item(concept: Code, value: Code) -> "Dataset":
    item = _item("CODE", concept)
    item.ConceptCodeSequence = [_code(value)]
    return item


def _number(concept: Code, value: float | None, unit: str, *children: "Dataset") -> "Dataset":
    from pydicom.dataset import Dataset

    item = _item("NUM", concept, *children)
    item.MeasuredValueSequence = []
    if value is not None:
        measured = Dataset()
        measured.NumericValue = f"{value:g}"
        measured.MeasurementUnitsCodeSequence = [_code((unit, "UCUM", unit))]
        item.MeasuredValueSequence = [measured]
    return item
