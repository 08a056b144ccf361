"""Everything that was published or issued, by the time at which it was."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from threading import Lock
from typing import Protocol, runtime_checkable

from qa.followup.facts import PackFact, SnapshotFacts
from qa.followup.snapshot_facts import read_facts
from qa.model.errors import PackError
from qa.stores.definitions import load_definitions
from qa.stores.pack_archive import (
    Issue,
    list_issues,
    list_pack_months,
    manifest_path_of,
    read_manifest,
)
from qa.stores.snapshots import list_snapshot_ids, open_snapshot

KEPT = 2_000
"""Facts of so many site-months are kept in memory; a snapshot never changes what it says."""


@dataclass(frozen=True)
class IssuedPack:
    """One issued pack of a site. issued_at: when its file was written; is_newest: of its month."""

    site_id: str
    month: date
    number: int
    issued_at: datetime
    is_newest: bool
    pdf_path: Path

    @property
    def name(self) -> str:
        return self.pdf_path.stem

    def read_pdf(self) -> bytes:
        return self.pdf_path.read_bytes()

    def read_digest(self) -> str:
        """SHA-256 of the file as its manifest has it. Raises: PackError PCK-005, PCK-006."""
        manifest = read_manifest(manifest_path_of(self.pdf_path))
        signature = manifest.get("signature") or {}
        return str(signature.get("file_sha256") or manifest.get("pdf_sha256"))


class Archive(Protocol):
    """Published snapshots and issued packs."""

    def snapshots(self) -> list[tuple[datetime, str]]:
        """When it was published, and its id; oldest first."""
        ...

    def facts(
        self, snapshot_id: str, *, site_id: str, months: Sequence[date]
    ) -> dict[date, SnapshotFacts]: ...

    def packs(self, *, site_id: str, month: date) -> list[PackFact]: ...


@runtime_checkable
class Shelf(Protocol):
    """Issued packs as files; an archive of what was known at some time holds none."""

    def issued_of(self, site_id: str) -> list[IssuedPack]:
        """Packs of a site, the newest month and issue first."""
        ...


class NetworkArchive:
    """The archive of a network folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = Lock()
        self._facts: dict[tuple[str, str, date], SnapshotFacts] = {}

    def snapshots(self) -> list[tuple[datetime, str]]:
        ids = list_snapshot_ids(self._folder / "snapshots")
        return sorted((published_at_of(one), one) for one in ids)

    def facts(
        self, snapshot_id: str, *, site_id: str, months: Sequence[date]
    ) -> dict[date, SnapshotFacts]:
        """Raises: SnapshotError when the snapshot cannot be read."""
        with self._lock:
            missing = [one for one in months if (snapshot_id, site_id, one) not in self._facts]
            if missing:
                self._read(snapshot_id, site_id, missing)
            return {month: self._facts[snapshot_id, site_id, month] for month in months}

    def _read(self, snapshot_id: str, site_id: str, months: Sequence[date]) -> None:
        snapshot = open_snapshot(self._folder, snapshot_id)
        try:
            requirements = load_definitions().newest_requirements()
            found = read_facts(snapshot, site_id=site_id, months=months, requirements=requirements)
        finally:
            snapshot.close()
        while len(self._facts) > KEPT:
            del self._facts[next(iter(self._facts))]
        self._facts |= {(snapshot_id, site_id, month): one for month, one in found.items()}

    def packs(self, *, site_id: str, month: date) -> list[PackFact]:
        """An issue whose manifest cannot be read is left out: it proves nothing.

        Manifests do not say when a pack was issued, so the time of its snapshot stands for it.
        """
        found = []
        for issue in list_issues(self._folder, month=month, site_id=site_id):
            try:
                manifest = read_manifest(issue.manifest_path)
                published_at = datetime.fromisoformat(manifest["snapshot_published_at"])
                found.append(PackFact(issue.number, manifest["snapshot_id"], published_at))
            except (PackError, KeyError, ValueError, TypeError):
                continue
        return found

    def issued_of(self, site_id: str) -> list[IssuedPack]:
        """Args: site_id: of network.toml; callers check that first."""
        found = []
        for month in list_pack_months(self._folder, site_id=site_id):
            issues = list_issues(self._folder, month=month, site_id=site_id)
            found += [
                _issued(one, site_id, month, issues[-1].number)
                for one in issues[::-1]
                if one.pdf_path.is_file()
            ]
        return found


def _issued(issue: Issue, site_id: str, month: date, newest: int) -> IssuedPack:
    at = datetime.fromtimestamp(issue.pdf_path.stat().st_mtime, UTC)
    return IssuedPack(site_id, month, issue.number, at, issue.number == newest, issue.pdf_path)


def published_at_of(snapshot_id: str) -> datetime:
    """Example: 'S20261104T070000Z-1a2b3c4d' → 2026-11-04 07:00 UTC"""
    return datetime.strptime(snapshot_id[1:17], "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
