"""The words of the product: every value that a coded column may hold.

A word lives here once. Screens, packs, files and tests read it from here.
"""

from enum import StrEnum


class Technique(StrEnum):
    """How stiffness was measured. Quantities of different techniques are never mixed."""

    TE = "TE"
    PSWE = "pSWE"
    SWE_2D = "2D-SWE"


class Probe(StrEnum):
    """Which probe was used; a stratum in every chart of stiffness, spread and failure."""

    STANDARD = "standard"
    LARGE_PATIENT = "large-patient"
    PAEDIATRIC = "paediatric"
    UNKNOWN = "unknown"


class Performed(StrEnum):
    """Whether an exam was started, and if not, why not (counted apart from failures)."""

    PERFORMED = "performed"
    INELIGIBLE = "ineligible"
    REFUSED = "refused"
    NOT_DONE = "not done"


class Outcome(StrEnum):
    """What the criteria set in force makes of one exam's stiffness."""

    RELIABLE = "reliable"
    UNRELIABLE = "unreliable"
    INCOMPLETE = "incomplete"
    FAILED = "failed"
    NOT_JUDGED = "not judged"
    NOT_PERFORMED = "not performed"


OUTCOME_SENTENCES: dict[Outcome, str] = {
    Outcome.RELIABLE: "Enough valid measurements and the spread within the rule.",
    Outcome.UNRELIABLE: "Enough valid measurements, but the spread is too wide.",
    Outcome.INCOMPLETE: "Some valid measurements, but fewer than the rule asks for.",
    Outcome.FAILED: "Started, but no valid measurement.",
    Outcome.NOT_JUDGED: "A figure that the rule needs was not sent; no verdict.",
    Outcome.NOT_PERFORMED: "Not started: ineligible, refused or not done. In nobody's rate.",
}


class ReliabilityClass(StrEnum):
    """The finer class of an exam, where the criteria set defines one."""

    VERY = "very reliable"
    RELIABLE = "reliable"
    POOR = "poorly reliable"


class AttenuationOutcome(StrEnum):
    """What the criteria set makes of one exam's attenuation, apart from stiffness."""

    RELIABLE = "reliable"
    UNRELIABLE = "unreliable"
    NOT_JUDGED = "not judged"
    NOT_MEASURED = "not measured"


class Kept(StrEnum):
    """Whether a step of the preparation was kept. Unknown is its own answer, never a pass."""

    KEPT = "kept"
    BREACH = "breach"
    NOT_RECORDED = "not recorded"


class Reason(StrEnum):
    """Why an exam did not meet its criteria set. All that apply are kept, in this order."""

    FASTING_BREACH = "fasting"
    REST_BREACH = "rest"
    POSITION_BREACH = "position"
    NO_VALID_MEASUREMENT = "no valid measurement"
    TOO_FEW_VALID = "too few valid"
    SUCCESS_RATE = "success rate"
    SPREAD = "spread"
    MISSING_FIGURE = "figure missing"


class OrderType(StrEnum):
    """Why the exam was ordered, as the site declares it."""

    FIRST = "first"
    FOLLOW_UP = "follow-up"
    RECALL = "recall"
    CONFIRMATION = "confirmation"
    DEFERRED = "deferred"
    UNKNOWN = "unknown"


class RepeatKind(StrEnum):
    """How an exam belongs to another one of the same patient.

    Same-session repeats and recalls are the cost of a poor exam; the others are no defect.
    """

    RESTART = "restart"
    SAME_SESSION = "same-session repeat"
    RECALL = "recall"
    CONFIRMATION = "confirmation"
    DEFERRED = "deferred"
    FOLLOW_UP = "follow-up"


REPEAT_SENTENCES: dict[RepeatKind, str] = {
    RepeatKind.RESTART: "A try that was started again on the same device within minutes, without a "
    "result or with the same figures: part of the exam that follows, not counted on its own.",
    RepeatKind.SAME_SESSION: "Again on the same day, because the exam before was not reliable.",
    RepeatKind.RECALL: "Called back on a later day, because the exam before was not reliable.",
    RepeatKind.CONFIRMATION: "A second exam on another day to confirm a reliable value. No defect.",
    RepeatKind.DEFERRED: "Put off until a confounder had ended. No defect.",
    RepeatKind.FOLLOW_UP: "Monitoring. Never a repeat.",
}


class IntakeState(StrEnum):
    """What is known of one site's month."""

    IN = "in"
    THIN = "thin"
    PARTIAL = "partial"
    LATE = "late"
    NOT_DUE = "not due"
    RUNNING = "running"


class Sex(StrEnum):
    FEMALE = "female"
    MALE = "male"
    UNKNOWN = "unknown"


class UnitKind(StrEnum):
    """What a rate, chart or signal is about."""

    NETWORK = "network"
    SITE = "site"
    OPERATOR = "operator"
    DEVICE = "device"


class AcquisitionMode(StrEnum):
    """How measurements came about. Success rates of different modes are never compared."""

    FIXED_GROUP = "fixed group"
    OPERATORS_CHOICE = "operator's choice"


class SourceStatus(StrEnum):
    """What the source says of its exam; the last two take it back."""

    FINAL = "final"
    AMENDED = "amended"
    ENTERED_IN_ERROR = "entered-in-error"
    CANCELLED = "cancelled"


TAKEN_BACK = (SourceStatus.ENTERED_IN_ERROR, SourceStatus.CANCELLED)


class StiffnessUnit(StrEnum):
    KPA = "kPa"
    M_S = "m/s"


class AttenuationUnit(StrEnum):
    DB_M = "dB/m"
    DB_CM_MHZ = "dB/cm/MHz"


class Confidence(StrEnum):
    """How sure a value of the trade is (shown beside it, everywhere)."""

    READ = "read in the source"
    SECOND_HAND = "read second-hand"
    COMPUTED = "computed from open data"
    MEMORY = "from memory, verify"
    COMMON_PRACTICE = "common practice, no source"
    PROPOSAL = "proposal of this tool"


class Better(StrEnum):
    """Which direction of a measure is good."""

    LOWER = "lower"
    HIGHER = "higher"
    NEITHER = "neither"


class Phase(StrEnum):
    """Part of a chart: the period that set the limits, or the period watched."""

    BASELINE = "baseline"
    MONITORING = "monitoring"


class PointState(StrEnum):
    """What a point or a unit says, in words; colour only supports it."""

    LOOK = "look"
    WATCH = "watch"
    STEADY = "steady"
    FEW = "few"
    LATE = "late"


class TargetVerdict(StrEnum):
    """What the last twelve months say against the network's target; limits say something else."""

    ON = "on target"
    OFF = "off target"
    STEADY_OFF = "in control but off target"
    FEW = "too few exams to say"


class FileFormat(StrEnum):
    """What a site's export files are; a profile names one."""

    CSV = "csv"
    XLSX = "xlsx"
    PARQUET = "parquet"
    JSONL = "jsonl"
    FHIR = "fhir"
    DICOM = "dicom"


class Severity(StrEnum):
    """What a check does with a row that fails it."""

    QUARANTINE = "quarantine"
    FLAG = "flag"
