"""What a scenario says: the network to invent, its rates and the events planted in it.

Every field is a key of the scenario file; scenario.toml explains each beside its value.
"""

from dataclasses import dataclass, field
from datetime import date

from qa.model.months import add_months, months_between, parse_month


@dataclass(frozen=True)
class NetworkPlan:
    """[network]: what is invented, how large, over which months."""

    id: str
    name: str
    time_zone: str
    first_month: str
    last_month: str
    exams: int
    sites: int | None = None
    operators: int | None = None
    devices: int | None = None


@dataclass(frozen=True)
class Rates:
    """[rates]: shares without events, over all patients (0 to 1)."""

    failed: float = 0.020
    incomplete: float = 0.020
    unreliable: float = 0.042
    ineligible: float = 0.025
    refused: float = 0.007
    not_done: float = 0.010
    fasting_recorded: float = 0.95
    fasting_breach: float = 0.02
    repeated: float = 0.50
    followed_up: float = 0.35


@dataclass(frozen=True)
class SitePlan:
    """[[sites]]: one clinic. devices: the techniques of each of its devices.

    report_shape: shape of its pSWE and 2D-SWE exams from the month report_from on.
    """

    id: str
    name: str
    shape: str
    operators: int
    devices: tuple[tuple[str, ...], ...]
    lead: str = ""
    paediatric_share: float = 0.0
    report_shape: str | None = None
    report_from: str | None = None


@dataclass(frozen=True)
class OperatorPlan:
    """[[operators]]: a fixed number of exams a month for one operator."""

    id: str
    exams_a_month: float


@dataclass(frozen=True)
class Event:
    """[[events]]: one planted event; the kinds stand in event_kinds.py."""

    kind: str
    start: str
    id: str = ""
    site: str | None = None
    operator: str | None = None
    device: str | None = None
    end: str | None = None
    size: float | None = None
    ramp_months: int = 0
    shows_as: str = "spread"
    exams: int = 120
    note: str = ""

    @property
    def start_month(self) -> date:
        return parse_month(self.start)

    def end_before(self, last_month: date) -> date:
        """First day after the event: the month after `end`, or after the last month."""
        return add_months(parse_month(self.end) if self.end else last_month, 1)

    @property
    def target(self) -> str:
        """Id of the site, operator or device that the event is about."""
        return self.site or self.operator or self.device or ""


@dataclass(frozen=True)
class Visit:
    """[[visits]]: an operator does a share of the exams of a second site from a month on."""

    operator: str
    site: str
    start: str
    share: float


@dataclass(frozen=True)
class Move:
    """[[moves]]: a device is taken to another site in a month."""

    device: str
    to: str
    start: str


@dataclass(frozen=True)
class Mishap:
    """[[mishaps]]: something that goes wrong with files; the kinds stand in mishap_kinds.py."""

    kind: str
    site: str
    month: str
    exams: int = 1

    @property
    def first_day(self) -> date:
        return parse_month(self.month)


@dataclass(frozen=True)
class Scenario:
    """A whole scenario, checked."""

    seed: int
    network: NetworkPlan
    sites: tuple[SitePlan, ...] = ()
    operators: tuple[OperatorPlan, ...] = ()
    rates: Rates = field(default_factory=Rates)
    events: tuple[Event, ...] = ()
    visits: tuple[Visit, ...] = ()
    moves: tuple[Move, ...] = ()
    mishaps: tuple[Mishap, ...] = ()
    settings: dict[str, int] = field(default_factory=dict)

    @property
    def first_month(self) -> date:
        return parse_month(self.network.first_month)

    @property
    def last_month(self) -> date:
        return parse_month(self.network.last_month)

    @property
    def n_months(self) -> int:
        return months_between(self.first_month, self.last_month) + 1

    @property
    def operator_sites(self) -> list[str]:
        """Site id of op-01, op-02, …: operators are numbered site by site."""
        return [site.id for site in self.sites for _ in range(site.operators)]

    @property
    def device_sites(self) -> list[str]:
        """Site id of dev-01, dev-02, …: devices are numbered site by site."""
        return [site.id for site in self.sites for _ in site.devices]

    @property
    def planted_operators(self) -> list[str]:
        """Operators that an event is about."""
        return [event.operator for event in self.events if event.operator is not None]

    @property
    def operator_ids(self) -> list[str]:
        return numbered("op", len(self.operator_sites))

    @property
    def device_ids(self) -> list[str]:
        return numbered("dev", len(self.device_sites))


def numbered(word: str, n: int) -> list[str]:
    """Example: numbered("op", 2) → ['op-01', 'op-02']; more digits where n needs them."""
    width = max(2, len(str(n)))
    return [f"{word}-{k + 1:0{width}d}" for k in range(n)]
