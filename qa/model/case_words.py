"""The words of follow-up: states, decisions, causes and actions, each once."""

from enum import StrEnum


class CaseState(StrEnum):
    """Where a case stands (ISO 9001:2015, 10.2; the steps as in our own words)."""

    OPEN = "open"
    CONTAINED = "contained"
    CAUSE_FOUND = "cause found"
    ACTION_PLANNED = "action planned"
    ACTION_DONE = "action done"
    CHECK_DUE = "effectiveness check due"
    CLOSED = "closed as effective"
    REOPENED = "reopened"


NEXT_STEP: dict[CaseState, str] = {
    CaseState.OPEN: "decide what happens to the exams concerned",
    CaseState.CONTAINED: "find the cause",
    CaseState.CAUSE_FOUND: "plan an action, and how it will be seen that it worked",
    CaseState.ACTION_PLANNED: "do the action and record when",
    CaseState.ACTION_DONE: "wait for the months that the check looks at",
    CaseState.CHECK_DUE: "run the check",
    CaseState.CLOSED: "nothing",
    CaseState.REOPENED: "contain again, or find the cause anew",
}


class ExamDecision(StrEnum):
    """What happens to an exam that a case concerns. The clinic decides, the tool records."""

    STANDS = "stands as reported"
    REPEAT = "to be repeated"
    RECALL = "patient to be recalled"
    NOT_USED = "not to be used"
    CORRECT = "record to be corrected"


class CauseCategory(StrEnum):
    """Where a cause lies."""

    TECHNIQUE = "technique of the exam"
    PREPARATION = "preparation of the patient"
    PROBE = "choice of probe"
    EQUIPMENT = "device or probe itself"
    PATIENTS = "other patients than before"
    WORKLOAD = "time, staff or rooms"
    INSTRUCTION = "protocol or instruction"
    DATA = "recording or export"
    NOT_ESTABLISHED = "cause not established"


class CauseMethod(StrEnum):
    """How a cause was looked for."""

    EXAMS = "looked at single exams"
    OBSERVED = "watched exams being done"
    PEERS = "compared with peers and with the patients referred"
    DEVICE = "tested the device"
    TALKED = "talked with the people involved"
    WHYS = "asked why, again and again"
    PAPERS = "read instructions and records"


class ActionKind(StrEnum):
    """What is done about a cause."""

    RETRAINING = "retraining"
    SERVICE = "device service"
    PROTOCOL = "protocol change"
    RECALL = "recall of patients"
    OTHER = "other"


class RetrainingStep(StrEnum):
    """The step of the technique that a retraining names."""

    POSITIONING = "positioning and window"
    STEADINESS = "steadiness and breath hold"
    PROBE = "probe choice"
    PREPARATION = "preparation"
    STOPPING = "when to stop and repeat"
    RECORDING = "recording"


class EffectVerdict(StrEnum):
    """What an effectiveness check says."""

    EFFECTIVE = "effective"
    NOT_EFFECTIVE = "not effective"
    TOO_FEW = "too few exams"
    NOT_YET = "not to be judged yet"


class MonthVerdict(StrEnum):
    """What one month says in an effectiveness check."""

    MET = "met"
    NOT_MET = "not met"
    TOO_FEW = "too few exams"
    OTHER_RULES = "judged by another criteria set"
    NOT_IN = "no exams published"
    EARLIER = "not counted, newer months are"


class AnnotationKind(StrEnum):
    """What happened at a point of a chart."""

    PROTOCOL = "protocol change"
    STAFF = "new staff"
    CAMPAIGN = "campaign"
    DEVICE = "device or software change"
    OTHER = "other"
