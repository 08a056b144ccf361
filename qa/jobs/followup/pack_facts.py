"""What people recorded and what was issued before, read for a pack as known at a moment."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from typing import Any

from qa.drift.phantom_checks import chart_checks
from qa.followup.case_events import CASE
from qa.followup.checks import CHECKS
from qa.followup.competence import OPERATOR_FILE
from qa.followup.compliance import Verdict
from qa.followup.device_log import DEVICE_LOG
from qa.followup.documents import DOCUMENT
from qa.followup.facts import PackFact, SnapshotFacts
from qa.followup.phantoms import PHANTOM
from qa.followup.records import RecordClass
from qa.followup.reviews import REVIEW
from qa.followup.rounds import ROUND
from qa.followup.statements import STATEMENT
from qa.jobs.followup.archive import Archive, IssuedPack, Shelf
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.opening import command_actor, replay_all
from qa.jobs.followup.record_desk import RecordDesk
from qa.jobs.followup.recorded import Recorded, read_recorded
from qa.model.definitions import Network
from qa.model.errors import PackError
from qa.model.months import add_months, iterate_months
from qa.model.pack_request import PackKind, PackRequest
from qa.model.permissions import Permission, may, require
from qa.model.published import Published
from qa.model.record import Event, time_text
from qa.stores.followup.store import FollowupStore
from qa.stores.pack_archive import manifest_path_of, read_manifest
from qa.views.pack_facts import PackFacts, ToldMonth

KINDS: tuple[RecordClass[Any], ...] = (
    CASE,
    REVIEW,
    DOCUMENT,
    STATEMENT,
    OPERATOR_FILE,
    DEVICE_LOG,
    PHANTOM,
    CHECKS,
    ROUND,
)
TOLD_MONTHS = 12
BY = "packs"


@dataclass(frozen=True)
class ArchiveBefore:
    """An archive as it was when a snapshot was published: what came later is not there."""

    archive: Archive
    published_at: datetime

    def snapshots(self) -> list[tuple[datetime, str]]:
        return [one for one in self.archive.snapshots() if one[0] <= self.published_at]

    def facts(
        self, snapshot_id: str, *, site_id: str, months: Sequence[date]
    ) -> dict[date, SnapshotFacts]:
        return self.archive.facts(snapshot_id, site_id=site_id, months=months)

    def packs(self, *, site_id: str, month: date) -> list[PackFact]:
        found = self.archive.packs(site_id=site_id, month=month)
        return [one for one in found if one.published_at < self.published_at]


class RecordReader:
    """Reads the record once, then gives each pack its part."""

    def __init__(self, store: FollowupStore, archive: Archive, published: Published) -> None:
        self._store = store
        self._published = published
        with store.reading() as reading:
            self._events = {kind.name: reading.events(kind.name) for kind in KINDS}
        # An invented network is published at a time of its own, which may lie ahead of the clock.
        last = max((e.at for events in self._events.values() for e in events), default="")
        at = max(_time(last), published.published_at)
        self._recorded: Recorded = read_recorded(store, at=at)
        self._archive = ArchiveBefore(archive, published.published_at)

    def read(self, request: PackRequest, *, known_at: datetime | None = None) -> PackFacts:
        """Facts of one pack.

        Args:
            known_at: what was recorded after it is not looked at; None: all that is there.
        Returns: facts whose known_at moves with events of this pack's own units only, so that a
            decision elsewhere changes no byte.
        Raises: SnapshotError.
        """
        site_id = _site_of(request, self._published.network)
        limit = time_text(known_at) if known_at else "~"
        events = {kind.name: self._own(kind, site_id, limit) for kind in KINDS}
        newest = max((e.at for some in events.values() for e in some), default="")
        moment = max(_time(newest), self._published.published_at)
        facts = self._facts(events, moment)
        sites = [site_id] if site_id else [one.id for one in self._published.network.sites]
        return replace(
            facts,
            verdicts=tuple(self._verdicts(sites, _months(request), moment)),
            told=tuple(self._told(sites, request.month)),
        )

    def _own(self, kind: RecordClass[Any], site_id: str | None, limit: str) -> list[Event]:
        """Events up to a moment of the records that concern a site; None: all."""
        events = [one for one in self._events[kind.name] if one.at <= limit]
        if site_id is None or kind in (DOCUMENT, PHANTOM, ROUND):
            return events
        belongs = _BELONGS[kind.name]
        network = self._published.network
        kept = {
            one.record_id
            for one in events
            if one.no == 1
            and belongs(
                replay_all(kind, [e for e in events if e.record_id == one.record_id])[0],
                site_id,
                network,
            )
        }
        return [one for one in events if one.record_id in kept]

    def _facts(self, events: dict[str, list[Event]], moment: datetime) -> PackFacts:
        def records(kind: RecordClass[Any]) -> list[Any]:
            return replay_all(kind, events[kind.name])

        rules = self._published.network.phantom_checks
        logs = {one.device_id: one for one in records(DEVICE_LOG)}
        phantoms = {one.phantom_id: one for one in records(PHANTOM)}
        series = {one.key: one for one in records(CHECKS) if one.sessions}
        charts = {
            key: chart_checks(
                one.sessions,
                certificate=phantoms[one.phantom_id].newest.plain,
                breaks=logs[one.device_id].breaks(one.probe) if one.device_id in logs else [],
                rules=rules,
            )
            for key, one in series.items()
        }
        trail = self._recorded.trail_at(moment)
        return PackFacts(
            known_at=moment,
            cases=tuple(records(CASE)),
            logs=logs,
            phantoms=phantoms,
            series=series,
            charts=charts,
            rules=rules,
            rounds=tuple(records(ROUND)),
            files={one.operator_id: one for one in records(OPERATOR_FILE)},
            documents=tuple(records(DOCUMENT)),
            trail=trail,
            head=self._head(trail.n_rows),
        )

    def _head(self, no: int) -> str:
        """Hash of a line of the trail; "" where there is none."""
        if not no:
            return ""
        with self._store.reading() as reading:
            return next((row.hash for row in reading.entries() if row.no == no), "")

    def _verdicts(
        self, sites: Sequence[str], months: Sequence[date], moment: datetime
    ) -> list[Verdict]:
        desk = RecordDesk(self._store, self._archive, command_actor(BY), moment)
        return [
            verdict
            for site_id in sites
            for verdict in desk.verdicts(site_id, months, recorded=self._recorded)
        ]

    def _told(self, sites: Sequence[str], month: date) -> list[ToldMonth]:
        """The newest pack of each earlier month that was made from an earlier snapshot."""
        shelf = self._archive.archive
        if not isinstance(shelf, Shelf):
            return []
        first = add_months(month, -TOLD_MONTHS)
        found: dict[tuple[str, date], ToldMonth] = {}
        for site_id in sites:
            for issue in shelf.issued_of(site_id):
                key = (site_id, issue.month)
                if first <= issue.month < month and key not in found:
                    told = _told_by(issue, self._published.published_at)
                    found |= {key: told} if told else {}
        return [found[key] for key in sorted(found)]


_BELONGS: dict[str, Callable[[Any, str, Network], bool]] = {
    CASE.name: lambda one, site_id, network: one.site_id in (None, site_id),
    REVIEW.name: lambda one, site_id, network: one.site_id in (None, site_id),
    STATEMENT.name: lambda one, site_id, network: one.site_id in (None, site_id),
    OPERATOR_FILE.name: lambda one, site_id, network: one.site_id == site_id,
    DEVICE_LOG.name: lambda one, site_id, network: _is_at(one.device_id, site_id, network),
    CHECKS.name: lambda one, site_id, network: _is_at(one.device_id, site_id, network),
}


def _is_at(device_id: str, site_id: str, network: Network) -> bool:
    return any(one.id == device_id and site_id in one.sites for one in network.devices)


def _time(text: str) -> datetime:
    return datetime.fromisoformat(text) if text else datetime.min.replace(tzinfo=UTC)


def _site_of(request: PackRequest, network: Network) -> str | None:
    """The site whose record a pack looks at; None: the whole network's."""
    if request.kind is PackKind.OPERATOR:
        return next((one.site for one in network.operators if one.id == request.unit_id), None)
    return request.unit_id if network.site(request.unit_id) else None


def _months(request: PackRequest) -> list[date]:
    """Months whose requirements a pack shows: those asked for, or the month and the one before."""
    if request.kind in (PackKind.OPERATOR, PackKind.ROUND):
        return []
    first = request.from_month or add_months(request.month, -1)
    return list(iterate_months(first, request.month))


def _told_by(issue: IssuedPack, published_at: datetime) -> ToldMonth | None:
    """None for an issue of this snapshot or a later one, and where its manifest cannot be read;
    'elastoqa verify' says what is wrong with it."""
    try:
        manifest = read_manifest(manifest_path_of(issue.pdf_path))
        if datetime.fromisoformat(manifest["snapshot_published_at"]) >= published_at:
            return None
        figures = {
            one["name"]: (one["text"], one["value"], one["n"]) for one in manifest["figures"]
        }
    except (PackError, KeyError, ValueError, TypeError):
        return None
    return ToldMonth(issue.site_id, issue.month, issue.name, figures)


def may_read_pack(desk: CaseDesk | None, network: Network, request: PackRequest) -> bool:
    """Whether somebody may read a pack on screen: a site's by whoever may fetch it as a file."""
    if desk is None:
        return True
    return may(desk.actor, Permission.DOWNLOAD_PACKS, site_id=_whose(request, network))


def _whose(request: PackRequest, network: Network) -> str | None:
    """The site that a pack is about; None: all of them, so that one site's lead may not read it."""
    return None if request.kind is PackKind.ROUND else _site_of(request, network)


def read_pack_facts(
    desk: CaseDesk | None, published: Published, request: PackRequest
) -> PackFacts | None:
    """Facts of a pack that is only looked at; None where no record is at hand.

    Raises: AccessRefused; SnapshotError.
    """
    if desk is None or desk.archive is None:
        return None
    require(desk.actor, Permission.DOWNLOAD_PACKS, site_id=_whose(request, published.network))
    return RecordReader(desk.store, desk.archive, published).read(request)
