"""Codes that an HL7 FHIR R4 export may use; whatever is not here is not an exam's figure.

A code counts only together with its system. LOINC, SNOMED CT and DICOM codes: domain reference,
part "codes that were verified" (LOINC mirror page 2026; CID 221, 6141, 12224, 12308, 12321, 12322
of the DICOM standard). Figures without a verified code use a code system of our own.
"""

LOINC = "http://loinc.org"
SCT = "http://snomed.info/sct"
DCM = "http://dicom.nema.org/resources/ontology/DCM"
UCUM = "http://unitsofmeasure.org"
IDENTIFIER_TYPES = "http://terminology.hl7.org/CodeSystem/v2-0203"
ABSENT_REASONS = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
LOCAL = "https://elastography-qa.example/fhir/CodeSystem/exam-figures"
"""System of LOCAL_CODES; a name, not an address that is fetched."""

STIFFNESS = {(LOINC, "77615-3"), (LOCAL, "stiffness")}
ATTENUATION = {(LOINC, "81894-8"), (LOCAL, "attenuation")}
ONLY_TE = {(LOINC, "77615-3"), (LOINC, "81894-8")}
REPORTS = {(LOINC, "28614-6"), (LOINC, "25061-3")}

TECHNIQUES = {(LOCAL, "TE"): "TE", (DCM, "130616"): "pSWE", (DCM, "130609"): "2D-SWE"}

LIVER_SITES = {(SCT, "10200004")} | {
    (SCT, code)
    for code in ("71133005", "277956007", "277957003", "277958008", "277959000", "277960005",
                 "277961009", "277962002")
}  # fmt: skip

IQR = {(LOCAL, "iqr"), (DCM, "130614")}
RATIO = {(LOCAL, "iqr-to-median-ratio"), (DCM, "130615")}
MEASUREMENT = {(LOCAL, "measurement")}
PROBE = {(LOCAL, "probe")}

FIGURES: dict[tuple[str, str], tuple[str, tuple[str, ...]]] = {
    (LOCAL, "n-valid"): ("n_valid", ("", "1")),
    (LOCAL, "n-attempted"): ("n_attempted", ("", "1")),
    (LOCAL, "fasting-hours"): ("fasting_hours", ("h",)),
    (LOCAL, "duration"): ("duration_s", ("s",)),
    (LOCAL, "depth"): ("depth_mm", ("mm",)),
    (DCM, "130613"): ("depth_mm", ("mm",)),
    (LOCAL, "skin-to-capsule-distance"): ("skin_to_capsule_mm", ("mm",)),
    (LOCAL, "bmi"): ("bmi", ("kg/m2",)),
    (SCT, "60621009"): ("bmi", ("kg/m2",)),
}
"""Component → column and the units in which it is taken."""

OBSERVATION_STATUS = ("registered", "preliminary", "final", "amended", "corrected", "cancelled",
                      "entered-in-error", "unknown")  # fmt: skip
REPORT_STATUS = ("registered", "partial", "preliminary", "final", "amended", "corrected",
                 "appended", "cancelled", "entered-in-error", "unknown")  # fmt: skip

STATUS_ORDER = ("entered-in-error", "cancelled", "unknown", "registered", "preliminary", "partial",
                "corrected", "amended", "appended", "final")  # fmt: skip
"""Of several resources of one exam the status that comes first here counts."""

RETRACTED = ("entered-in-error", "cancelled")
