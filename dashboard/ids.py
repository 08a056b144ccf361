"""Component ids: one enum a page, and ids of charts. No page writes an id as text."""

from enum import StrEnum


class Shell(StrEnum):
    MAIN = "main"
    NAV = "screens"
    ANSWER = "answer"
    MONTH_CHOICE = "month-choice"
    CAUTION = "caution"
    PERSON = "person"


class Month(StrEnum):
    OVERDUE = "overdue"
    WORKLIST = "worklist"
    FALSE_SHARE = "by-false-share"
    HEAT = "sites-and-measures"
    MULTIPLES = "sites-side-by-side"
    INTAKE = "intake"
    REVIEW = "review"
    PACKS = "open-packs"


class Site(StrEnum):
    LIST = "site-list"
    FIGURES = "figures"
    ITEMS = "to-decide"
    DEVICES = "devices"
    CHART = "chart"
    CHARTS = "all-charts"
    OPERATORS = "operators"
    EXAMS = "exams-to-look-at"
    PACKS = "packs"


class Exams(StrEnum):
    LIST = "exams"


class Exam(StrEnum):
    RULES = "how-it-was-judged"
    DONE = "what-was-done"
    BEHIND = "on-that-day"
    SOURCE = "where-it-comes-from"
    MEASURES = "figures-that-it-is-part-of"


class Operators(StrEnum):
    PERSON = "operator"
    ITEMS = "to-decide"
    NEEDS = "needs"
    DEVICES = "devices-to-service"
    FUNNEL = "funnel"
    TABLE = "operator-table"
    FILE = "operator-file"
    STEP = "one-step"
    WELL = "what-goes-well"
    LEARNING = "learning-curve"
    QUESTIONS = "questions"


class Grades(StrEnum):
    CAUTION = "grade-caution"
    CHART = "grade-chart"
    BY_SITE = "bands-by-site"
    OVER_TIME = "bands-over-time"
    TABLES = "tables-side-by-side"
    WHY = "has-it-moved"
    MEMBERS = "bands-by-operator-and-device"
    VALUES = "values"


class Explain(StrEnum):
    CAUTION = "why-caution"
    PARTS = "what-it-is-made-of"
    WEIGHTS = "what-may-have-caused-it"
    MEMBERS = "before-and-after"
    MIX = "mix-of-results"
    NOTES = "how-it-is-worked-out"


class Devices(StrEnum):
    WAITING = "waits-for-sign-off"
    SERIES = "one-series"
    PATIENTS = "in-patients"
    CHART = "check-chart"
    CHECKS = "phantom-checks"
    REGISTER = "register"
    PHANTOMS = "phantoms"


class Pack(StrEnum):
    FUNNEL = "pack-funnel"


class Rounds(StrEnum):
    SCORES = "scores"
    CHART = "score-chart"
    PAST = "scores-over-rounds"
    AGREEMENT = "agreement-chart"
    LIST = "rounds"
    PERFORMANCE = "over-rounds"
    PAIRS = "paired-exams"
    STUDIES = "agreement-studies"


class Followup(StrEnum):
    OPEN = "open-cases"
    CLOSED = "closed-cases"
    DISMISSED = "not-pursued"
    EFFECTS = "effects"
    NOTES = "notes-in-charts"
    COMPETENCE = "operators-files"
    READINGS = "second-readings"


class Record(StrEnum):
    EVIDENCE = "evidence"
    FOUND = "found"
    MONTHS = "requirements-and-months"
    TRAIL = "trail"
    STATEMENTS = "statements"
    DOCUMENTS = "documents"
    RETENTION = "retention"


class Intake(StrEnum):
    MONTHS = "sites-and-months"
    REMARKS = "not-plain"
    WAITING = "rows-that-wait"
    REFUSED = "refused-files"
    CHART = "share-waiting"
    FILES = "newest-files"
    TRY = "try-a-file"


class Drawn(StrEnum):
    CHART = "which-chart"
    MORE = "spread-and-attempts"
    RULES = "run-rules"
    PROPOSAL = "another-level"


def chart(unit_kind: str, unit_id: str, measure_id: str) -> str:
    """Id of one control chart's figure."""
    return f"chart-{unit_kind}-{unit_id}-{measure_id}".replace(".", "-").replace("{", "-")
