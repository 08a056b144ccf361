"""The words of competence and of second readings, each once."""

from enum import StrEnum

from qa.model.words import Outcome

ANY_PROBE = "any"


class Stage(StrEnum):
    """How far an operator is. What divides them are settings, since sources disagree."""

    SUPERVISED = "supervised"
    PROVISIONAL = "provisional"
    INDEPENDENT = "independent"
    EXPERIENCED = "experienced"


class OutsideWhy(StrEnum):
    """Why no authorisation covers an exam."""

    NONE = "no authorisation on record"
    TECHNIQUE = "not authorised for this technique"
    PROBE = "not authorised for this probe"
    DAY = "not authorised on that day"
    UNKNOWN_PROBE = "cannot be told: the probe was not recorded"
    UNKNOWN_DAY = "cannot be told: the day of the exam is not known"


class PickReason(StrEnum):
    """Why an exam is read a second time though chance did not choose it."""

    STIFFNESS = "extreme stiffness"
    ATTENUATION = "extreme attenuation"
    SPREAD = "wide spread"
    PAIR = "low stiffness with high attenuation"
    AGE = "unusual for the age"
    NEW_OPERATOR = "new operator"
    ASKED = "asked for"


READ_OUTCOMES = (Outcome.RELIABLE, Outcome.UNRELIABLE, Outcome.INCOMPLETE, Outcome.FAILED)
"""What a second reader may say of how an exam was done."""
