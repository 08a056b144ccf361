"""What is known of one site's month at one moment: everything that a verdict may look at."""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta

from qa.followup.cases import Case
from qa.followup.checks import CheckSeries
from qa.followup.device_log import DeviceLog
from qa.followup.documents import Document
from qa.followup.month_reviews import MonthReview
from qa.followup.phantoms import Phantom
from qa.followup.reviews import Review
from qa.followup.standing import Practice
from qa.followup.statements import Statement
from qa.model.definitions import InForce, Settings
from qa.model.equipment_words import CheckRules
from qa.model.months import add_months
from qa.model.requirement import Requirement

DUE_MONTHS = 1
"""Evidence of a month is due by the end of the next one (proposal of this tool, no source)."""


def due_at(month: date) -> datetime:
    """The first moment after a month's evidence was due. Example: October 2026 → 1 December 2026"""
    return datetime.combine(add_months(month, 1 + DUE_MONTHS), time.min, UTC)


def last_moment(month: date) -> datetime:
    """The last moment at which evidence of a month is in time; as known then is as known at it."""
    return due_at(month) - timedelta(microseconds=1)


@dataclass(frozen=True)
class MonthValue:
    """One measure of the site's month. value, lower, upper: shares; None without exams."""

    n_events: int
    n: int
    value: float | None
    lower: float | None
    upper: float | None
    min_n: int
    noun: str


@dataclass(frozen=True)
class BaselineFact:
    """A frozen baseline of one of the site's measures."""

    measure_id: str
    title: str
    set_by: str
    set_on: date


@dataclass(frozen=True)
class ListedItem:
    """An item of the month's list that concerns the site."""

    item_id: str
    finding: str
    measure_id: str = ""


@dataclass(frozen=True)
class SnapshotFacts:
    """What one published snapshot says of a site's month.

    Args:
        intake: (state, sentence, is closed, day on which it was closed); None: nothing is known.
        watched: measure id → title of the measures that are watched at the site, with exams.
        in_force: criteria sets that judged days of the month, with their fingerprints.
        retention: class of record → years.
        practice: operators who examined at the site that month, with their exams up to it.
        devices: device → exams that it performed at the site that month.
    """

    snapshot_id: str
    published_at: datetime
    requirements: tuple[Requirement, ...]
    values: dict[str, MonthValue]
    intake: tuple[str, str, bool, date | None] | None
    watched: dict[str, str]
    baselines: tuple[BaselineFact, ...]
    items: tuple[ListedItem, ...]
    in_force: tuple[tuple[InForce, str], ...]
    retention: dict[str, int]
    practice: dict[str, Practice]
    settings: Settings
    devices: dict[str, int] = field(default_factory=dict)
    check_rules: CheckRules = field(default_factory=CheckRules)


@dataclass(frozen=True)
class PackFact:
    """An issued pack: its number, and the snapshot that it was made from."""

    number: int
    snapshot_id: str
    published_at: datetime


@dataclass(frozen=True)
class TrailFacts:
    """The trail up to a moment, as walked at checked_at. faults: sentences."""

    n_rows: int
    faults: tuple[str, ...]
    checked_at: datetime


@dataclass(frozen=True)
class Facts:
    """All that was known of a site's month at a moment.

    Args:
        known_at: what was recorded after it is not in here.
        snapshot: None: nothing had been published.
        lacking: operator → what their file lacks, "" where it is whole; only those who examined.
        holds: operator → what their file holds, in words.
        has_files: some operator's file had been begun by then.
        month_review: the network's review of the month; None: nobody began it.
        checks: phantom checks of all devices; phantoms, logs: by id.
    """

    site_id: str
    month: date
    known_at: datetime
    snapshot: SnapshotFacts | None
    cases: tuple[Case, ...] = ()
    reviews: tuple[Review, ...] = ()
    documents: tuple[Document, ...] = ()
    statements: tuple[Statement, ...] = ()
    packs: tuple[PackFact, ...] = ()
    trail: TrailFacts | None = None
    lacking: dict[str, str] | None = None
    holds: dict[str, str] = field(default_factory=dict)
    has_files: bool = False
    checks: tuple[CheckSeries, ...] = ()
    month_review: MonthReview | None = None
    phantoms: dict[str, Phantom] = field(default_factory=dict)
    logs: dict[str, DeviceLog] = field(default_factory=dict)

    @property
    def is_due(self) -> bool:
        return self.known_at >= last_moment(self.month)

    @property
    def last_day(self) -> date:
        """Last day of the month."""
        return date.fromordinal(add_months(self.month, 1).toordinal() - 1)
