"""What people recorded and what was issued before, as known when a pack is made."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from qa.drift.phantom_checks import CheckChart
from qa.followup.cases import Case
from qa.followup.checks import CheckSeries
from qa.followup.competence import OperatorFile
from qa.followup.compliance import Verdict
from qa.followup.device_log import DeviceLog
from qa.followup.documents import Document
from qa.followup.facts import TrailFacts
from qa.followup.phantoms import Phantom
from qa.followup.rounds import Round
from qa.model.document_words import DocumentState
from qa.model.equipment_words import CheckRules
from qa.model.months import add_months

SeriesKey = tuple[str, str, str]


@dataclass(frozen=True)
class ToldMonth:
    """What the newest earlier pack of a month told the site. figures: name → words, value, n."""

    site_id: str
    month: date
    pack_name: str
    figures: Mapping[str, tuple[str, float | None, int | None]]


@dataclass(frozen=True)
class PackFacts:
    """Records as they stood at known_at: of one site, or of the whole network.

    Args:
        known_at: the newest event that is in here, or the snapshot's publication if that is later.
        files: operators' files by operator. trail: walked when the pack was made.
        verdicts: on the requirements of the months shown.
        told: packs of earlier months, made from earlier snapshots.
        head: hash of the newest line of the trail up to known_at; "" for none.
    """

    known_at: datetime
    cases: tuple[Case, ...] = ()
    verdicts: tuple[Verdict, ...] = ()
    logs: Mapping[str, DeviceLog] = field(default_factory=dict)
    phantoms: Mapping[str, Phantom] = field(default_factory=dict)
    series: Mapping[SeriesKey, CheckSeries] = field(default_factory=dict)
    charts: Mapping[SeriesKey, CheckChart] = field(default_factory=dict)
    rules: CheckRules = field(default_factory=CheckRules)
    rounds: tuple[Round, ...] = ()
    files: Mapping[str, OperatorFile] = field(default_factory=dict)
    documents: tuple[Document, ...] = ()
    trail: TrailFacts | None = None
    head: str = ""
    told: tuple[ToldMonth, ...] = ()


def documents_in_force(facts: PackFacts | None, *, month: date) -> list[tuple[str, str]]:
    """Id and fingerprint of each document in force on the month's last day, by id."""
    last = add_months(month, 1) - timedelta(days=1)
    return sorted(
        (one.document_id, one.fingerprint)
        for one in (facts.documents if facts else ())
        if one.state_on(last) is DocumentState.IN_FORCE
    )
