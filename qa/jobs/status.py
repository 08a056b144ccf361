"""What the network folder holds, for a person or for a program."""

from dataclasses import asdict, dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import polars as pl

from qa.intake.quartiles import quartile_remark
from qa.jobs.charting import find_intake_months
from qa.model.definitions import Network, Site
from qa.model.errors import ProfileError
from qa.model.months import add_months, month_name
from qa.model.words import IntakeState
from qa.stores.definitions import sets_in_force
from qa.stores.settings import NetworkFolder, load_network, load_profiles
from qa.stores.snapshots import current_snapshot_id, list_snapshot_ids
from qa.stores.warehouse import Warehouse, open_warehouse
from qa.stores.warehouse_history import month_closes, withdrawn_files
from qa.views import words

MONTHS_SHOWN = 3
"""Partial and thin months are named this long; a month that is not in is named until it is."""


@dataclass(frozen=True)
class SiteStatus:
    """One site's intake: what is in, what waits, and what is not as expected.

    notes: one sentence for each month that is late, partial, thin or restated.
    """

    site_id: str
    name: str
    n_exams: int
    newest_month: date | None
    n_quarantined: int
    n_refused_files: int
    is_late: bool
    n_cancelled: int = 0
    n_restated: int = 0
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Status:
    """The network's intake and what was published."""

    network: str
    is_invented: bool
    n_exams: int
    newest_month: date | None
    snapshot_id: str | None
    n_months_to_refresh: int
    sites: tuple[SiteStatus, ...]
    as_known_at: str | None = None
    n_withdrawn_files: int = 0
    closed_months: tuple[date, ...] = field(default=())
    remarks: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Plain values: dates as ISO text."""

        def plain(value: Any) -> Any:
            if isinstance(value, date):
                return value.isoformat()
            if isinstance(value, dict):
                return {key: plain(one) for key, one in value.items()}
            if isinstance(value, list | tuple):
                return [plain(one) for one in value]
            return value

        return plain(asdict(self))


def find_status(folder: Path, *, at: datetime, as_known_at: datetime | None = None) -> Status:
    """Read-only look at a network folder.

    Args:
        at: now, UTC; decides what is late. An invented network stands still at its newest file.
        as_known_at: show what was known then, and what was late then.
    Raises: NetworkFolderError, WarehouseError, SnapshotError.
    """
    network, root = load_network(folder), NetworkFolder(folder)
    known = as_known_at.isoformat() if as_known_at else None
    if not root.warehouse.exists():
        return Status(
            network=network.name,
            is_invented=network.is_invented,
            n_exams=0,
            newest_month=None,
            snapshot_id=current_snapshot_id(root.snapshots),
            n_months_to_refresh=0,
            sites=tuple(
                SiteStatus(site.id, site.name, 0, None, 0, 0, is_late=False)
                for site in network.sites
            ),
            as_known_at=known,
            remarks=_profile_remarks(folder, network),
        )
    with open_warehouse(root.warehouse, as_known_at=as_known_at) as warehouse:
        sites = _sites(warehouse, network, at=as_known_at or at)
        last = warehouse.last_refresh()
        touched = warehouse.months_touched_since(last[0]) if last else warehouse.months_with_exams()
        closed = month_closes(warehouse)["month"].to_list()
        n_withdrawn = len(withdrawn_files(warehouse))
    newest = [site.newest_month for site in sites if site.newest_month]
    return Status(
        network=network.name,
        is_invented=network.is_invented,
        n_exams=sum(site.n_exams for site in sites),
        newest_month=max(newest) if newest else None,
        snapshot_id=_snapshot_at(root.snapshots, as_known_at),
        n_months_to_refresh=len(touched),
        sites=sites,
        as_known_at=known,
        n_withdrawn_files=n_withdrawn,
        closed_months=tuple(closed),
        remarks=_profile_remarks(folder, network),
    )


def _profile_remarks(folder: Path, network: Network) -> tuple[str, ...]:
    """What to know of the profiles that sites use; a profile that cannot be read is one of it."""
    try:
        profiles = load_profiles(folder)
    except ProfileError as problem:
        return (problem.message,)
    used = [(site.profile, *site.profiles_by_ending.values()) for site in network.sites]
    names = dict.fromkeys(name for listed in used for name in listed)
    sets = sets_in_force(network)
    found = [quartile_remark(profiles[name], sets) for name in names if name in profiles]
    return tuple(remark for remark in found if remark)


def _snapshot_at(snapshots: Path, moment: datetime | None) -> str | None:
    """The current snapshot, or the newest one that was published by a moment."""
    if moment is None:
        return current_snapshot_id(snapshots)
    ids = [one for one in list_snapshot_ids(snapshots) if one[1:17] <= f"{moment:%Y%m%dT%H%M%SZ}"]
    return ids[-1] if ids else None


def _sites(warehouse: Warehouse, network: Network, *, at: datetime) -> tuple[SiteStatus, ...]:
    files = warehouse.files()
    months = find_intake_months(warehouse, network, at=at)
    waiting = warehouse.quarantined().group_by("site_id").len()
    refused = (
        newest_of_each_name(files).filter(pl.col("state") == "refused").group_by("site_id").len()
    )
    return tuple(
        _site_status(
            site,
            months.filter(pl.col("site_id") == site.id),
            n_quarantined=_count_of(waiting, site.id),
            n_refused=_count_of(refused, site.id),
        )
        for site in network.sites
    )


def _site_status(
    site: Site, months: pl.DataFrame, *, n_quarantined: int, n_refused: int
) -> SiteStatus:
    newest = months.filter(pl.col("n_exams") > 0)["month"].max()
    is_late = pl.col("state") == IntakeState.LATE
    later = ("n_came_later", "n_changed_later", "n_left_later")
    return SiteStatus(
        site_id=site.id,
        name=site.name,
        n_exams=int(months["n_exams"].sum()),
        newest_month=newest if isinstance(newest, date) else None,
        n_quarantined=n_quarantined,
        n_refused_files=n_refused,
        is_late=not months.filter(is_late).is_empty(),
        n_cancelled=int(months["n_retracted"].sum()),
        n_restated=int(months.select(pl.sum_horizontal(later)).to_series().sum()),
        notes=_notes(months, later),
    )


def _notes(months: pl.DataFrame, later: tuple[str, ...]) -> tuple[str, ...]:
    newest = months["month"].max()
    if not isinstance(newest, date):
        return ()
    is_recent = pl.col("month") > add_months(newest, -MONTHS_SHOWN)
    is_odd = pl.col("state").is_in([IntakeState.PARTIAL, IntakeState.THIN]) & is_recent
    is_restated = pl.sum_horizontal(later) > 0
    shown = months.filter((pl.col("state") == IntakeState.LATE) | is_odd | is_restated)
    return tuple(
        f"{row['state'] if row['state'] != IntakeState.IN else 'restated'}: {row['sentence']}"
        for row in shown.iter_rows(named=True)
    )


def newest_of_each_name(files: pl.DataFrame) -> pl.DataFrame:
    """The latest fact about each file name: a file mended and read is not refused."""
    return files.sort("known_at").group_by("site_id", "name", maintain_order=True).last()


def _count_of(counts: pl.DataFrame, site_id: str) -> int:
    return int(counts.filter(pl.col("site_id") == site_id)["len"].sum())


def status_lines(status: Status) -> list[str]:
    """The status in words, as a site lead or manager reads it."""
    is_said = "invented" in status.network.lower()
    invented = " (invented demo data)" if status.is_invented and not is_said else ""
    lines = [f"{status.network}{invented}"]
    if status.as_known_at:
        lines.append(f"As known at {_moment(status.as_known_at)}.")
        if status.newest_month is None:
            lines.append("Nothing was known then: the first file was read later.")
            return lines
    if status.newest_month is None:
        lines.append(
            "No exams yet. Put export files under incoming/SITE/ and run 'elastoqa intake'."
        )
        return lines
    lines.append(
        f"{words.counted(status.n_exams, 'exam')}, up to {month_name(status.newest_month)}."
    )
    lines.append(_published_line(status))
    if status.closed_months:
        n_restated = sum(site.n_restated for site in status.sites)
        lines.append(
            f"Closed months: {len(status.closed_months)}, the newest is "
            f"{month_name(status.closed_months[-1])}; "
            f"{words.counted(n_restated, 'exam')} restated since."
        )
    if status.n_withdrawn_files:
        lines.append(
            words.counted(status.n_withdrawn_files, "file is withdrawn.", "files are withdrawn.")
        )
    lines.append("")
    for site in status.sites:
        lines.append(f"  {site.name:<24} {', '.join(_parts(site))}")
        lines += [f"      {note}" for note in site.notes]
    lines += [line for remark in status.remarks for line in ("", remark)]
    return lines


def _moment(text: str) -> str:
    """Example: '2026-05-01 23:59 UTC'"""
    return f"{datetime.fromisoformat(text).astimezone(UTC):%Y-%m-%d %H:%M} UTC"


def _published_line(status: Status) -> str:
    if status.snapshot_id is None:
        return "Nothing is published yet. Run 'elastoqa refresh'."
    if status.n_months_to_refresh:
        return (
            f"Published: {status.snapshot_id}. Exams of "
            f"{words.counted(status.n_months_to_refresh, 'month')} came in since. "
            "Run 'elastoqa refresh'."
        )
    return f"Published: {status.snapshot_id}, nothing newer has come in."


def _parts(site: SiteStatus) -> list[str]:
    parts = [words.counted(site.n_exams, "exam") if site.newest_month else "has sent no exams yet"]
    if site.n_cancelled:
        parts.append(f"{site.n_cancelled} cancelled by the site")
    if site.n_quarantined:
        parts.append(words.counted(site.n_quarantined, "row waits", "rows wait") + " in quarantine")
    if site.n_refused_files:
        parts.append(words.counted(site.n_refused_files, "file") + " refused")
    return parts
