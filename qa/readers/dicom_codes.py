"""Codes of a DICOM structured report that count, matched by value, scheme and meaning.

A value alone is not enough: one public builder of reports uses DCM 126060 for a title, which the
dictionary gives to a texture feature. Where value and scheme are known and the meaning is not the
dictionary's, the report is refused.

Source: DICOM PS3.16 code dictionary as in pydicom 3.0.2: CID 42 (qualifiers of a numeric value),
221 and 226 (spread of a population), 6141, 12224 (modes), 12308 (measurements), 12321 and 12322
(sites). The scheme 99ELASTOQA is our own, for what has no code there.
"""

from qa.model.errors import SourceFileError

LOCAL_SCHEME = "99ELASTOQA"

KNOWN: dict[tuple[str, str], tuple[str, tuple[str, ...]]] = {
    ("DCM", "110830"): ("elasticity", ("Elasticity",)),
    ("DCM", "130611"): ("speed", ("Shear Wave Speed",)),
    ("DCM", "110833"): ("attenuation", ("Ultrasound Attenuation",)),
    ("DCM", "112031"): ("attenuation", ("Attenuation Coefficient",)),
    ("DCM", "112182"): ("attenuation median", ("Median Attenuation Coefficient",)),
    ("DCM", "130614"): ("iqr", ("Interquartile Range of population",)),
    ("DCM", "130615"): ("ratio", ("Interquartile Range to Median ratio of population",)),
    ("DCM", "130613"): ("depth", ("ROI Depth",)),
    ("DCM", "121401"): ("derivation", ("Derivation",)),
    ("SCT", "373099004"): ("median", ("Median", "Median Value of population")),
    ("SCT", "373098007"): ("mean", ("Mean", "Mean Value of population", "Averaged")),
    ("SCT", "363698007"): ("site", ("Finding Site",)),
    ("SCT", "10200004"): ("liver", ("Liver", "Liver structure")),
    ("SCT", "399264008"): ("mode", ("Image Mode",)),
    ("DCM", "130616"): ("pSWE", ("Point Shear Wave Elastography",)),
    ("DCM", "130609"): ("2D-SWE", ("2D Shear Wave Elastography",)),
    ("DCM", "130610"): ("3D-SWE", ("3D Shear Wave Elastography",)),
    ("DCM", "121016"): ("device", ("Device Observer Serial Number",)),
    ("DCM", "128775"): ("operator", ("Identifier within Person Observer's Role",)),
    ("SCT", "60621009"): ("bmi", ("Body mass index",)),
    ("DCM", "114006"): ("error", ("Measurement failure",)),
    ("DCM", "114007"): ("not-performed", ("Measurement not attempted",)),
    ("DCM", "126060"): ("texture", ("Joint Entropy of GLCM",)),
    (LOCAL_SCHEME, "TE"): ("TE", ("Transient Elastography",)),
    (LOCAL_SCHEME, "n-valid"): ("n-valid", ("Valid measurements",)),
    (LOCAL_SCHEME, "n-attempted"): ("n-attempted", ("Attempted measurements",)),
    (LOCAL_SCHEME, "probe"): ("probe", ("Probe",)),
    (LOCAL_SCHEME, "standard"): ("standard", ("Standard probe",)),
    (LOCAL_SCHEME, "large-patient"): ("large-patient", ("Large-patient probe",)),
    (LOCAL_SCHEME, "paediatric"): ("paediatric", ("Paediatric probe",)),
    (LOCAL_SCHEME, "fasting-hours"): ("fasting-hours", ("Fasting hours",)),
    (LOCAL_SCHEME, "duration"): ("duration", ("Duration of the exam",)),
    (LOCAL_SCHEME, "skin-to-capsule-distance"): (
        "skin-to-capsule-distance", ("Skin-to-capsule distance",)
    ),
    **{
        ("SCT", code): ("liver", (f"Couinaud hepatic segment {number}",))
        for code, number in (
            ("71133005", "I"), ("277956007", "II"), ("277957003", "III"), ("277958008", "IV"),
            ("277959000", "V"), ("277960005", "VI"), ("277961009", "VII"), ("277962002", "VIII"),
        )
    },
}  # fmt: skip
"""Scheme and value → our word, and the meanings that stand in the dictionary."""

URN_STARTS = {
    "http://snomed.info/id/": "SCT",
    "https://elastography-qa.example/fhir/CodeSystem/exam-figures#": LOCAL_SCHEME,
}
"""How URNs of known schemes begin: SNOMED URI standard (from memory, verify), and our own."""

FIGURES: dict[str, tuple[str, tuple[str, ...]]] = {
    "n-valid": ("n_valid", ("", "1")),
    "n-attempted": ("n_attempted", ("", "1")),
    "fasting-hours": ("fasting_hours", ("h",)),
    "duration": ("duration_s", ("s",)),
    "depth": ("depth_mm", ("mm",)),
    "skin-to-capsule-distance": ("skin_to_capsule_mm", ("mm",)),
    "bmi": ("bmi", ("kg/m2",)),
}
"""Our word → column and the units in which it is taken."""


def word_of(value: str, scheme: str, meaning: str, *, where: str) -> str:
    """Our word for a code, "" for a code that no exam needs.

    Raises: SourceFileError INT-035: value and scheme are known, the meaning is another.
    Example: "110830", "DCM", "Elasticity" → "elasticity"
    """
    known = KNOWN.get(_plain_code(value, scheme))
    if known is None:
        return ""
    word, meanings = known
    if _plain(meaning) in {_plain(one) for one in meanings}:
        return word
    raise SourceFileError(
        f"the code {value} of {scheme} stands with another meaning than its own",
        where=where,
        expected=f"'{meanings[0]}'",
        todo="Have the export mended: it is not clear what was measured",
        code="INT-035",
    )


def _plain_code(value: str, scheme: str) -> tuple[str, str]:
    """Scheme and value; a URN names both in one.

    Example: "http://snomed.info/id/10200004" → SCT, "10200004"
    """
    for start, system in URN_STARTS.items():
        if value.startswith(start) and scheme in ("", system):
            return system, value.removeprefix(start)
    return scheme, value


def _plain(meaning: str) -> str:
    """Without case, doubled blanks and the kind of thing that some dictionaries add."""
    words = " ".join(meaning.casefold().split())
    return words.partition(" (")[0]
