"""The words of document control and of requirements, each once."""

from enum import StrEnum


class DocumentKind(StrEnum):
    """What is under document control."""

    PROTOCOL = "protocol"
    CRITERIA = "criteria set"
    GRADES = "grade table"
    MEASURE = "measure"


class DocumentState(StrEnum):
    """Where one version of a document stands on a day."""

    PROPOSED = "proposed"
    REFUSED = "not approved"
    APPROVED = "approved, not in force yet"
    IN_FORCE = "in force"
    ENDED = "no longer in force"


class EvidenceRule(StrEnum):
    """What decides whether a requirement was met in a month."""

    MEASURE = "measure"
    MONTH_IN = "month in"
    MONTH_CLOSED = "month closed"
    BASELINES = "baselines"
    SIGNALS = "signals"
    CASES = "cases"
    COMPETENCE = "competence"
    PHANTOM_CHECKS = "phantom checks"
    PACK = "pack"
    TRAIL = "trail"
    RULES_APPROVED = "rules approved"
    RULES_READ = "rules read"
    RETENTION = "retention"
    SIGNED = "signed"


class Compliance(StrEnum):
    """Whether a requirement was met. No evidence is an answer of its own, never a pass."""

    MET = "met"
    NOT_MET = "not met"
    NO_EVIDENCE = "no evidence"
