"""What a profile may fill: one row per target, and nothing else enters."""

from dataclasses import dataclass
from enum import StrEnum

from qa.model.words import (
    AcquisitionMode,
    AttenuationUnit,
    Kept,
    OrderType,
    Performed,
    Probe,
    Sex,
    SourceStatus,
    StiffnessUnit,
    Technique,
)


class Kind(StrEnum):
    """How a target's text is understood, and how much of it may be shown in a message."""

    IDENTIFIER = "identifier"
    LOOKUP = "code of a register"
    WORD = "word of the product"
    REASON = "coded reason"
    WHOLE = "whole number"
    NUMBER = "number"
    TIME = "date or time"


@dataclass(frozen=True)
class Target:
    """One canonical column that a profile may fill.

    Args:
        words: what a WORD may be.
        is_needed: a profile must map it, and a row must hold it.
    """

    name: str
    kind: Kind
    sentence: str
    words: tuple[str, ...] = ()
    is_needed: bool = False


_YES_NO = ("yes", "no")

TARGETS: tuple[Target, ...] = (
    Target("exam_id", Kind.IDENTIFIER, "The site's number of the exam; only its keyed hash enters.",
           is_needed=True),
    Target("patient_id", Kind.IDENTIFIER, "The patient's number; only its keyed hash enters.",
           is_needed=True),
    Target("site", Kind.LOOKUP, "The site, where one file holds several."),
    Target("operator", Kind.LOOKUP, "The operator's code at the site.", is_needed=True),
    Target("device", Kind.LOOKUP, "The device's code at the site.", is_needed=True),
    Target("technique", Kind.WORD, "How stiffness was measured.", tuple(Technique), is_needed=True),
    Target("probe", Kind.WORD, "Probe used.", tuple(Probe)),
    Target("performed", Kind.WORD, "Whether the exam was started.", tuple(Performed)),
    Target("not_performed_reason", Kind.REASON, "Why it was not started; coded, no free text."),
    Target("order_type", Kind.WORD, "Why the exam was ordered.", tuple(OrderType)),
    Target("n_attempted", Kind.WHOLE, "Measurements attempted."),
    Target("n_valid", Kind.WHOLE, "Valid measurements."),
    Target("stiffness", Kind.NUMBER, "Stiffness median."),
    Target("stiffness_iqr", Kind.NUMBER, "Stiffness IQR, in the unit of the median."),
    Target("stiffness_unit", Kind.WORD, "Unit of stiffness, where rows differ.",
           tuple(StiffnessUnit)),
    Target("stated_ratio_pct", Kind.NUMBER, "IQR/median as the device states it, in %."),
    Target("attenuation", Kind.NUMBER, "Attenuation median."),
    Target("attenuation_iqr", Kind.NUMBER, "Attenuation IQR, in the unit of the median."),
    Target("attenuation_unit", Kind.WORD, "Unit of attenuation, where rows differ.",
           tuple(AttenuationUnit)),
    Target("fasting_hours", Kind.NUMBER, "Hours since the last meal."),
    Target("fasting_kept", Kind.WORD, "Whether fasting was kept.", tuple(Kept)),
    Target("rest_minutes", Kind.NUMBER, "Minutes of rest before the exam."),
    Target("position_kept", Kind.WORD, "Whether the position was kept.", tuple(Kept)),
    Target("bmi", Kind.NUMBER, "Body-mass index, kg/m2."),
    Target("height_cm", Kind.NUMBER, "Height, cm; gives the body-mass index where it is not sent."),
    Target("weight_kg", Kind.NUMBER, "Weight, kg; gives the body-mass index where it is not sent."),
    Target("age_years", Kind.NUMBER, "Age at the exam, years."),
    Target("birth_date", Kind.IDENTIFIER, "Birth date; only the age at the exam enters."),
    Target("sex", Kind.WORD, "Sex.", tuple(Sex)),
    Target("indication", Kind.REASON, "Group of causes; coded, no free text."),
    Target("duration_s", Kind.NUMBER, "Duration of the exam, seconds."),
    Target("measurement", Kind.NUMBER, "A single stiffness reading."),
    Target("measurement_valid", Kind.WORD, "Whether a single reading counts.", _YES_NO),
    Target("acquisition_mode", Kind.WORD, "How measurements came about.", tuple(AcquisitionMode)),
    Target("pressure_in_range_pct", Kind.NUMBER, "Measurements with contact pressure in range, %."),
    Target("motion_in_range_pct", Kind.NUMBER, "Measurements with motion in range, %."),
    Target("quality_index_pct", Kind.NUMBER, "The device's quality index, %."),
    Target("roi_depth_mm", Kind.NUMBER, "Depth of the region of interest, mm."),
    Target("skin_to_capsule_mm", Kind.NUMBER, "Distance from skin to liver capsule, mm."),
    Target("source_status", Kind.WORD, "What the source says of its exam.", tuple(SourceStatus)),
    Target("retracted", Kind.WORD, "Whether the site withdraws the exam.", _YES_NO),
    Target("exam_at", Kind.TIME, "Start of the exam, in the site's time zone.", is_needed=True),
)  # fmt: skip

TARGET_BY_NAME = {target.name: target for target in TARGETS}

OF_READINGS = ("measurement", "measurement_valid")
"""Filled by [measurements] of a profile, not by a column."""

SPLIT_TIME = ("exam_date", "exam_time")
"""A profile may map these two instead of exam_at."""


def names_of_kind(*kinds: Kind) -> list[str]:
    return [target.name for target in TARGETS if target.kind in kinds]
