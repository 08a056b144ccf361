"""Published and counted figures of the open survey, so that the arithmetic is tested without it.

Source of the status, reason, technician and probe counts: NCHS, NHANES 2017-2018 Liver Ultrasound
Transient Elastography (LUX_J) documentation and codebook, 2020, and the README beside the file.
Source of the rest: counted from the public-use file, unweighted, among the examined (status
complete or partial); the project's list of published values holds the same figures.
"""

TOTAL = 6401
STATUS = {"complete": 5494, "partial": 493, "ineligible": 258, "not done": 156}
EXAMINED = 5987

PARTIAL_BY_CODE = {"fasting": 257, "count": 129, "spread": 107}
"""By the survey's reason code. One exam coded for its count has 16 valid measurements and an
IQR/median of 66.7 %: judged from its values it is a matter of spread (128 and 108)."""
CODED_AGAINST_ITS_VALUES = 1

BY_TECHNICIAN = {
    "A": (170, 13),
    "B": (464, 27),
    "C": (473, 29),
    "D": (816, 85),
    "E": (793, 58),
    "F": (793, 57),
    "G": (785, 102),
    "H": (746, 58),
    "I": (235, 13),
    "J": (711, 51),
    "YY": (1, 0),
}
"""Technician → examined, partial."""

WITH_PROBE = 5986
LARGE_PATIENT_PROBE = 1508

FAILED = 37
FEWER_THAN_TEN_VALID = 128
WITH_RATIO = 5942
RATIO_OVER_30 = 142
RATIO_EXACTLY_30 = 4
FEW_OR_WIDE_NOT_FAILED = 195
CLASSIC_NOT_FAILED = 1049
"""With success rate; a lower bound, because attempts from 20 on are binned in the public file."""

BOURSIER = {"very reliable": 1754, "reliable": 4115, "poorly reliable": 73}
ATTENUATION_MEASURED = 5940
ATTENUATION_IQR_40_AND_OVER = 2378
ATTENUATION_IQR_30_AND_OVER = 3717
BAVENO_BANDS = [5583, 215, 56, 44, 52]
AT_DEVICE_LIMITS = {"stiffness 75": 7, "attenuation 100": 32, "attenuation 400": 103}

FEW_OR_WIDE_BY_TECHNICIAN = {
    "A": (8, 170),
    "B": (1, 464),
    "C": (16, 473),
    "D": (47, 816),
    "E": (13, 793),
    "F": (18, 793),
    "G": (77, 785),
    "H": (28, 746),
    "I": (6, 235),
    "J": (18, 711),
}
"""Technician → exams with fewer than 10 valid or an IQR/median over 30 %, examined."""
CENTRE_PERCENT = 3.88
UPPER_THREE_SIGMA_OF_G_PERCENT = 5.94
ABOVE_THREE_SIGMA = {"G"}
BELOW_THREE_SIGMA = {"B", "E"}
