"""Frozen models of everything that a TOML file defines.

A definition file is never edited once in force; a new version is a new file. `id` always
carries the version ("common-practice.v1") and travels with every figure.
"""

from dataclasses import dataclass, field, replace
from datetime import date

from qa.model.delivery import Delivery, Signing
from qa.model.equipment_words import CheckRules


@dataclass(frozen=True)
class StiffnessRule:
    """How one technique's stiffness is judged.

    Args:
        techniques: the techniques it covers.
        min_valid: valid measurements needed.
        max_ratio_kpa_share, max_ratio_m_s_share: IQR/median limit for each unit of measurement.
        is_limit_allowed: True for "≤", False for "<" (an exam exactly on the limit).
        ratio_from_kpa: the ratio matters only from this median on; None: always.
        min_success_share: valid over attempted; None: not asked.
        very_reliable_share: IQR/median up to which the finer class is "very reliable"; None: none.
    """

    techniques: tuple[str, ...]
    min_valid: int
    max_ratio_kpa_share: float
    max_ratio_m_s_share: float
    is_limit_allowed: bool
    ratio_from_kpa: float | None = None
    min_success_share: float | None = None
    very_reliable_share: float | None = None


@dataclass(frozen=True)
class AttenuationRule:
    """How attenuation is judged: IQR below (or up to) a fixed value in dB/m."""

    techniques: tuple[str, ...]
    max_iqr_db_m: float
    is_limit_allowed: bool


@dataclass(frozen=True)
class PreparationRule:
    """What preparation the set asks for; None means that the step is not asked for."""

    min_fasting_hours: float | None = None
    min_rest_minutes: float | None = None
    is_position_asked: bool = False
    is_part_of_verdict: bool = False


@dataclass(frozen=True)
class CriteriaSet:
    """A versioned set of rules that judges how an exam was done."""

    id: str
    version: int
    title: str
    why: str
    stiffness: tuple[StiffnessRule, ...]
    attenuation: tuple[AttenuationRule, ...]
    preparation: PreparationRule
    quartile_type: int
    source: str
    confidence: str
    note: str = ""
    fingerprint: str = ""

    def stiffness_rule(self, technique: str) -> StiffnessRule | None:
        return next((rule for rule in self.stiffness if technique in rule.techniques), None)

    def attenuation_rule(self, technique: str) -> AttenuationRule | None:
        return next((rule for rule in self.attenuation if technique in rule.techniques), None)


@dataclass(frozen=True)
class GradeTable:
    """Bands of stiffness or attenuation: histogram bins for comparing sites, never a diagnosis.

    A value belongs to the band whose lower edge it reaches: band = number of edges ≤ value.
    """

    id: str
    version: int
    title: str
    quantity: str
    techniques: tuple[str, ...]
    unit: str
    edges: tuple[float, ...]
    labels: tuple[str, ...]
    source: str
    confidence: str
    note: str = ""
    fingerprint: str = ""


@dataclass(frozen=True)
class Measure:
    """A rate defined once. Numerator and denominator are sums of columns of the monthly counts.

    Args:
        better: "lower", "higher" or "neither".
        units: unit kinds that are charted ("site", "operator", …).
        is_watched: its charts raise signals.
        min_n: fewest exams in a month for a verdict on a point ("too few exams" below).
        step: what to look at when it worsens (doctrine: a retraining need names the step).
        depends_on_device: its figures hang on the machine, so that charts of a site and its
            operators break where the site's devices change.
    """

    id: str
    key: str
    version: int
    title: str
    short_title: str
    event: str
    why: str
    numerator: tuple[str, ...]
    denominator: tuple[str, ...]
    unit: str
    better: str
    chart: str
    units: tuple[str, ...]
    is_watched: bool
    min_n: int
    cause: str
    step: str
    source: str
    confidence: str
    is_grade: bool = False
    depends_on_device: bool = False
    fingerprint: str = ""


@dataclass(frozen=True)
class ColumnMap:
    """How one canonical column is filled from a source file.

    Args:
        target: canonical name (see qa/intake/mapping.py).
        headings: source headings; several are joined by `join`.
        constant: a fixed value instead of a heading.
        unit: unit of the source values.
        frequency_mhz: frequency that dB/cm/MHz values were measured at.
        date_format: strptime format of a date or time.
        codes: source value → canonical value; a value not listed is refused.
        missing_as: canonical value of an empty cell; None: stays empty.
        is_optional: the heading may be absent from a file.
    """

    target: str
    headings: tuple[str, ...] = ()
    constant: str | None = None
    join: str = "-"
    unit: str | None = None
    frequency_mhz: float | None = None
    date_format: str | None = None
    codes: tuple[tuple[str, str], ...] = ()
    missing_as: str | None = None
    is_optional: bool = False
    is_nominal: bool = False
    scale: float = 1.0


@dataclass(frozen=True)
class Measurements:
    """Where a source holds single stiffness readings; median and IQR are made from them.

    Args:
        layout: "rows" (one row per measurement; the rows of one exam number are one exam) or
            "columns" (one row per exam; each reading has a column of its own).
        headings: rows: the one heading of the reading. columns: the headings of the readings, in
            order; "*" at the end of a heading stands for numbers, as many as the file has.
        unit: unit of the readings, where [columns.stiffness] does not state it.
        quartile_type: how quartiles are made, 1 to 9 as Hyndman and Fan (1996) number them.
        valid_heading, valid_values, invalid_values: rows: the column that says whether a reading
            counts, and what stands in it.
        invalid_marks: cells that stand for a measurement that was tried and is not valid.
        lists_attempts: every attempt stands in the file, also those that were not valid. Without
            it attempts stay unknown: some devices drop invalid measurements silently.
        order_heading: rows: the number of a reading in its exam.
        first_of: rows: targets that differ from row to row, of which the first counts.
        mean_of: rows: targets that differ from row to row, of which the mean counts.
    """

    layout: str
    headings: tuple[str, ...]
    quartile_type: int
    unit: str | None = None
    valid_heading: str = ""
    valid_values: tuple[str, ...] = ()
    invalid_values: tuple[str, ...] = ()
    invalid_marks: tuple[str, ...] = ()
    lists_attempts: bool = False
    order_heading: str = ""
    first_of: tuple[str, ...] = ()
    mean_of: tuple[str, ...] = ()


@dataclass(frozen=True)
class Profile:
    """How one shape of export maps to the canonical columns: an allow-list."""

    id: str
    version: int
    title: str
    format: str
    delimiter: str
    encoding: str
    decimal: str
    header_row: int
    missing: tuple[str, ...]
    columns: tuple[ColumnMap, ...]
    ignore: tuple[str, ...] = ()
    unknown_columns: str = "refuse"
    stiffness_limits_kpa: tuple[float, float] | None = None
    attenuation_limits_db_m: tuple[float, float] | None = None
    sheet: str = ""
    measurements: Measurements | None = None
    note: str = ""
    fingerprint: str = ""

    @property
    def full_id(self) -> str:
        return f"{self.id}.v{self.version}"

    def column(self, target: str) -> ColumnMap | None:
        return next((column for column in self.columns if column.target == target), None)


@dataclass(frozen=True)
class Closure:
    """Days on which a site does no exams; both included."""

    from_day: date
    to_day: date
    reason: str = ""


@dataclass(frozen=True)
class Site:
    id: str
    name: str
    time_zone: str
    profile: str
    lead: str = ""
    expected_day: int | None = None
    """Day of the month by which last month's file is expected; None: the network's setting."""
    profiles_by_ending: dict[str, str] = field(default_factory=dict)
    """Ending of a file's name, without its point → profile, where devices send files apart."""
    closed: tuple[Closure, ...] = ()

    def is_closed_on(self, day: date) -> bool:
        return any(one.from_day <= day <= one.to_day for one in self.closed)

    def profile_of(self, file_name: str) -> str:
        """The profile that reads a file: that of its ending, else the site's own."""
        ending = file_name.rpartition(".")[2].lower()
        return self.profiles_by_ending.get(ending, self.profile)


@dataclass(frozen=True)
class Assignment:
    """A code that an operator or device has in one site's exports, from one day to another.

    code: "" is the owner's own code. from_day, to_day: both included; None: no end on that side.
    """

    site: str
    code: str = ""
    from_day: date | None = None
    to_day: date | None = None

    @property
    def is_dated(self) -> bool:
        return self.from_day is not None or self.to_day is not None

    @property
    def period(self) -> str:
        """Example: "2024-03-01 to 2025-06-30", "from 2024-03-01" or "at all times"."""
        if self.from_day and self.to_day:
            return f"{self.from_day} to {self.to_day}"
        if self.from_day:
            return f"from {self.from_day}"
        return f"up to {self.to_day}" if self.to_day else "at all times"

    def overlaps(self, other: "Assignment") -> bool:
        """Some day belongs to both."""
        starts = max(self.from_day or date.min, other.from_day or date.min)
        return starts <= min(self.to_day or date.max, other.to_day or date.max)


def _in_full(code: str, assignments: tuple[Assignment, ...]) -> tuple[Assignment, ...]:
    return tuple(replace(one, code=one.code or code) for one in assignments)


@dataclass(frozen=True)
class Operator:
    """A person's code. `code` is what the site's exports hold; names are kept elsewhere.

    `site` is the home site; `also_at` lists other sites whose exports hold the same code.
    `assignments` say it by date instead: who leaves, returns, shares a code or works at two sites.
    """

    id: str
    site: str
    code: str
    started: date | None = None
    also_at: tuple[str, ...] = ()
    assignments: tuple[Assignment, ...] = ()

    @property
    def periods(self) -> tuple[Assignment, ...]:
        """Every site and code, with its days."""
        undated = tuple(Assignment(site, self.code) for site in (self.site, *self.also_at))
        return _in_full(self.code, self.assignments) or undated

    @property
    def sites(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys((self.site, *(one.site for one in self.periods))))


@dataclass(frozen=True)
class Device:
    """A machine. `assignments` say where it stood and under which code, by date.

    stiffness_limits_kpa, attenuation_limits_db_m: lowest and highest value that it shows; they
    come before those of the profile.
    """

    id: str
    site: str
    code: str
    techniques: tuple[str, ...]
    assignments: tuple[Assignment, ...] = ()
    stiffness_limits_kpa: tuple[float, float] | None = None
    attenuation_limits_db_m: tuple[float, float] | None = None

    @property
    def periods(self) -> tuple[Assignment, ...]:
        """Every site and code, with its days."""
        return _in_full(self.code, self.assignments) or (Assignment(self.site, self.code),)

    @property
    def sites(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys((self.site, *(one.site for one in self.periods))))


@dataclass(frozen=True)
class InForce:
    """A criteria set or grade table and the first day on which it judges."""

    id: str
    from_day: date
    quantity: str = ""
    techniques: tuple[str, ...] = ()


@dataclass(frozen=True)
class Target:
    """What the network wants of a measure, from a day on: no limit, and drawn apart from limits.

    measure: id or key ("MSR-001" or "unreliable"). value: a share. source: who says so.
    """

    measure: str
    value: float
    source: str
    from_day: date


@dataclass(frozen=True)
class Settings:
    """Choices that the network makes; each is one key under [settings] of network.toml.

    limit_sigmas: width of control limits. run_rules: published rules marked on drawn charts.
    observed_exams_needed to refresher_months: see qa/followup/standing.py.
    second_reading_share, second_reading_min: of an operator's exams in a month, and at least so
        many (common practice of peer review, share from memory).
    discrepant_stiffness_share: second reading apart from the first by more than this share of
        their mean (a proposal, no source).
    criteria_need_approval: refresh refuses criteria sets that nobody approved.
    """

    repeat_window_days: int = 90
    restart_window_minutes: int = 30
    confirmation_window_days: int = 180
    follow_up_after_days: int = 180
    deferred_after_days: int = 7
    expected_day: int = 10
    baseline_months: int = 12
    baseline_min_exams: int = 100
    funnel_months: int = 12
    min_exams_shown: int = 5
    false_items_per_month: float = 1.0
    limit_sigmas: float = 3.0
    run_rules: tuple[str, ...] = ()
    criteria_need_approval: bool = False
    port: int = 8050
    followup_url: str = ""
    observed_exams_needed: int = 3
    provisional_until_exams: int = 100
    experienced_from_exams: int = 500
    current_exams_a_year: int = 50
    refresher_months: int = 12
    second_reading_share: float = 0.05
    second_reading_min: int = 3
    discrepant_stiffness_share: float = 0.1


@dataclass(frozen=True)
class LogIn:
    """How people log in; each is one key under [log_in] of network.toml.

    idle_minutes, absolute_hours: how long somebody stays logged in without doing anything, and at
        most. public_url: where people reach the screens, when a proxy stands before them.
    issuer, client_id: the hospital's OpenID Connect provider; "" for none. The client's secret
        comes from the environment or from secret_file, never from network.toml.
    """

    idle_minutes: int = 30
    absolute_hours: int = 12
    public_url: str = ""
    issuer: str = ""
    client_id: str = ""
    secret_file: str = ""

    @property
    def has_hospital(self) -> bool:
        return bool(self.issuer and self.client_id)


@dataclass(frozen=True)
class Server:
    """How the screens are served; each is one key under [server] of network.toml.

    path_prefix: path below which they are mounted, with a slash at both ends.
    behind_proxy: a proxy stands in front, and what it says of a request (X-Forwarded-For, -Proto,
        -Host) is believed.
    """

    path_prefix: str = "/"
    behind_proxy: bool = False


@dataclass(frozen=True)
class Network:
    """A network folder's network.toml, checked."""

    id: str
    name: str
    is_invented: bool
    sites: tuple[Site, ...]
    operators: tuple[Operator, ...]
    devices: tuple[Device, ...]
    criteria: tuple[InForce, ...]
    grade_tables: tuple[InForce, ...]
    settings: Settings = field(default_factory=Settings)
    targets: tuple[Target, ...] = ()
    retention_years: dict[str, int] = field(default_factory=dict)
    """Class of record → years its content is kept; classes that are not named are kept for ever."""
    log_in: LogIn = field(default_factory=LogIn)
    server: Server = field(default_factory=Server)
    phantom_checks: CheckRules = field(default_factory=CheckRules)
    delivery: Delivery = field(default_factory=Delivery)
    signing: Signing = field(default_factory=Signing)
    note: str = ""

    def site(self, site_id: str) -> Site | None:
        return next((site for site in self.sites if site.id == site_id), None)

    def operator(self, operator_id: str) -> Operator | None:
        return next((person for person in self.operators if person.id == operator_id), None)


CAUTION = (
    "For quality assurance of examinations. Not a diagnostic device; does not replace clinical "
    "judgement, local protocol, the device's instructions for use or the decision of licensed "
    "staff. Reliability rules and comparison rates are from the sources listed and may not fit "
    "this population."
)

GRADE_CAUTION = (
    "Bands are histogram bins for comparing sites, not a diagnosis and not a stage. Cut-offs "
    "depend on technique, device, probe, cause of disease and local validation; local protocol "
    "and licensed staff decide."
)
