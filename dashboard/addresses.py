"""Every address of the dashboard in one place. A state of a screen is an address with a query."""

from enum import StrEnum
from urllib.parse import urlencode


class Page(StrEnum):
    """Addresses of the screens, below the path prefix."""

    MONTH = "/"
    SITE = "/site"
    OPERATORS = "/operators"
    GRADES = "/grades"
    DEVICES = "/devices"
    ROUNDS = "/rounds"
    EXPLAIN = "/explain"
    PACK = "/pack"
    FOLLOWUP = "/follow-up"
    RECORD = "/record"
    INTAKE = "/intake"
    METHODS = "/methods"
    EXAMS = "/exams"
    EXAM = "/exam"


class Download(StrEnum):
    """Addresses of what is on screen as CSV."""

    WORKLIST = "/export/worklist.csv"
    SITES = "/export/sites.csv"
    CHART = "/export/chart.csv"
    CHARTS = "/export/charts.csv"
    DRAWN = "/export/drawn-chart.csv"
    OPERATORS = "/export/operators.csv"
    GRADES = "/export/grades.csv"
    EXAMS = "/export/exams.csv"
    EXAM_LIST = "/export/exam-list.csv"
    INTAKE = "/export/intake.csv"
    RETURN_SHEET = "/export/return-sheet.csv"
    RECORD = "/export/record.csv"
    ROUND = "/export/round.csv"
    ROUNDS = "/export/rounds.csv"
    AGREEMENT = "/export/agreement.csv"
    STUDIES = "/export/agreement-studies.csv"
    CHECKS = "/export/phantom-checks.csv"


class Form(StrEnum):
    """Addresses of plain pages with a form."""

    TRY = "/intake/try"
    DECIDE = "/month/decide"
    CASE = "/follow-up/case"
    OPEN_CASE = "/follow-up/open"
    READ = "/follow-up/read"
    REVIEW = "/follow-up/review"
    NOTE = "/follow-up/note"
    SAMPLES = "/follow-up/samples"
    OPERATOR_FILE = "/operators/file"
    DIFFERS = "/follow-up/differs"
    DEVICE = "/devices/enter"
    ROUND = "/rounds/enter"
    RELEASE = "/operators/release"
    DOCUMENT = "/record/document"
    SIGN = "/record/sign"
    ISSUED = "/packs/issued"
    SIGN_OFF = "/packs/sign-off"
    STATEMENT = "/record/statement"
    TRAIL = "/record/trail"


class File(StrEnum):
    """Addresses of files that lie in the network's folder."""

    PACK = "/packs/pack.pdf"


class Account(StrEnum):
    """Addresses of logging in and of accounts; plain pages too."""

    LOG_IN = "/log-in"
    HOSPITAL = "/log-in/hospital"
    HOSPITAL_BACK = "/log-in/back"
    LOG_OUT = "/log-out"
    LINK = "/link"
    OWN = "/account"
    USERS = "/users"


HEALTH = "health"
NEWEST = "/published"
"""Id of the snapshot in force, so that an open screen can say that a newer one is there."""

TITLES: dict[Page, str] = {
    Page.MONTH: "Month",
    Page.SITE: "Sites",
    Page.OPERATORS: "Operators",
    Page.GRADES: "Grades",
    Page.DEVICES: "Devices",
    Page.ROUNDS: "Rounds",
    Page.EXPLAIN: "Why",
    Page.PACK: "Pack",
    Page.FOLLOWUP: "Follow-up",
    Page.RECORD: "Record",
    Page.INTAKE: "Intake",
    Page.METHODS: "Methods",
    Page.EXAMS: "Exams",
    Page.EXAM: "Exam",
}

BEHIND = frozenset({Page.EXPLAIN, Page.PACK, Page.EXAMS, Page.EXAM})
"""Screens that a figure, an item or a chart leads to."""
MENU: dict[Page, str] = {page: title for page, title in TITLES.items() if page not in BEHIND}
"""The screens that every screen leads to."""


def address(
    where: Page | Download | Form | File | Account,
    *,
    prefix: str = "/",
    anchor: str = "",
    **query: str | int | None,
) -> str:
    """A full address; parts of the query that are None or empty are left out.

    Example: address(Page.SITE, site="S1", month="2026-10") → '/site?site=S1&month=2026-10'
    """
    text = urlencode({key: value for key, value in query.items() if value not in (None, "")})
    path = prefix.rstrip("/") + where.value
    return path + (f"?{text}" if text else "") + (f"#{anchor}" if anchor else "")
