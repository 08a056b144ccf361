"""Shapes with coded content: HL7 FHIR R4 and DICOM structured reports.

Their headings are those that the product's readers give to coded content.
"""

import math

from demo_sites.shape import Shape
from qa.model.words import FileFormat

_NO_LIMITS = (0.0, math.inf)
"""The built-in profiles know no device, and so none of its limits."""

_COMMON = (
    ("exam_id", "exam_no"),
    ("patient_id", "patient_no"),
    ("operator", "operator_code"),
    ("device", "device_code"),
    ("technique", "technique"),
    ("probe", "probe"),
    ("status", "source_status"),
    ("absent_reason", "performed"),
    ("n_attempted", "n_attempted"),
    ("n_valid", "n_valid"),
    ("stiffness", "stiffness_value"),
    ("stiffness_iqr", "stiffness_iqr"),
    ("fasting_hours", "fasting_hours"),
    ("bmi", "bmi"),
    ("age_years", "age_years"),
    ("sex", "sex"),
    ("duration_s", "duration_s"),
    ("depth_mm", "roi_depth_mm"),
    ("exam_at", "exam_at"),
)

ESTUARY = Shape(
    id="estuary",
    format=FileFormat.FHIR,
    ending="json",
    headings=(
        *_COMMON,
        ("stated_ratio_pct", "stated_ratio_pct"),
        ("attenuation", "attenuation_value"),
        ("attenuation_iqr", "attenuation_iqr"),
        ("skin_to_capsule_mm", "skin_to_capsule_mm"),
    ),
    codes={
        "technique": ("TE", "130616", "130609"),
        "probe": ("standard", "large-patient", "paediatric"),
        "performed": (None, "not-applicable", "asked-declined", "not-performed"),
        "sex": ("female", "male"),
    },
    is_age_from_birth=True,
    stiffness_limits_kpa=_NO_LIMITS,
    attenuation_limits_db_m=_NO_LIMITS,
    final_status="final",
    built_in="fhir-r4",
)
"""A Bundle for each month; from NDJSON_FROM on one resource a line."""

NDJSON_FROM = "2025-07"

BEACON = Shape(
    id="beacon",
    format=FileFormat.DICOM,
    ending="dcm",
    headings=_COMMON,
    codes={
        "technique": (None, "130616", "130609"),
        "probe": ("standard", None, None),
        "performed": (None, "114007", "114007", "114007"),
        "sex": ("F", "M"),
    },
    performed_as=("performed", "not done", "not done", "not done"),
    techniques=("pSWE", "2D-SWE"),
    is_age_from_birth=True,
    stiffness_unit="m/s",
    stiffness_steps=100,
    limit_share_pct=15,
    stiffness_limits_kpa=_NO_LIMITS,
    final_status="final",
    built_in="dicom-sr",
)
"""One report for each exam; why an exam was not started does not stand there."""
