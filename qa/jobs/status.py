"""What the network folder holds, for a person or for a program."""

from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl

from qa.model.months import add_months, month_name
from qa.stores.settings import NetworkFolder, load_network
from qa.stores.snapshots import current_snapshot_id
from qa.stores.warehouse import open_warehouse


@dataclass(frozen=True)
class SiteStatus:
    """One site's intake: what is in, what waits, and whether the newest month has come."""

    site_id: str
    name: str
    n_exams: int
    newest_month: date | None
    n_quarantined: int
    n_refused_files: int
    is_late: bool


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


def find_status(folder: Path) -> Status:
    """Read-only look at a network folder.

    Raises: NetworkFolderError, WarehouseError, SnapshotError.
    """
    network = load_network(folder)
    root = NetworkFolder(folder)
    if not root.warehouse.exists():
        return _empty_status(folder)
    with open_warehouse(root.warehouse) as warehouse:
        exams = (
            warehouse.current_exams()
            .group_by("site_id")
            .agg(pl.len().alias("n"), pl.col("month").max().alias("newest"))
        )
        waiting = warehouse.quarantined().group_by("site_id").len()
        files = warehouse.files()
        last = warehouse.last_refresh()
        touched = warehouse.months_touched_since(last[0]) if last else warehouse.months_with_exams()
    refused = (
        newest_of_each_name(files).filter(pl.col("state") == "refused").group_by("site_id").len()
    )
    by_site = {row["site_id"]: row for row in exams.iter_rows(named=True)}
    newest = exams["newest"].max() if exams.height else None
    sites = []
    for site in network.sites:
        row = by_site.get(site.id, {"n": 0, "newest": None})
        is_late = newest is not None and (row["newest"] is None or row["newest"] < newest)
        sites.append(
            SiteStatus(
                site_id=site.id,
                name=site.name,
                n_exams=row["n"],
                newest_month=row["newest"],
                n_quarantined=_count_of(waiting, site.id),
                n_refused_files=_count_of(refused, site.id),
                is_late=is_late,
            )
        )
    return Status(
        network=network.name,
        is_invented=network.is_invented,
        n_exams=sum(site.n_exams for site in sites),
        newest_month=newest if isinstance(newest, date) else None,
        snapshot_id=current_snapshot_id(root.snapshots),
        n_months_to_refresh=len(touched),
        sites=tuple(sites),
    )


def newest_of_each_name(files: pl.DataFrame) -> pl.DataFrame:
    """The latest fact about each file name: a file mended and read is not refused."""
    return files.sort("known_at").group_by("site_id", "name", maintain_order=True).last()


def _count_of(counts: pl.DataFrame, site_id: str) -> int:
    return int(counts.filter(pl.col("site_id") == site_id)["len"].sum())


def _empty_status(folder: Path) -> Status:
    network = load_network(folder)
    return Status(
        network=network.name,
        is_invented=network.is_invented,
        n_exams=0,
        newest_month=None,
        snapshot_id=current_snapshot_id(NetworkFolder(folder).snapshots),
        n_months_to_refresh=0,
        sites=tuple(
            SiteStatus(site.id, site.name, 0, None, 0, 0, is_late=False) for site in network.sites
        ),
    )


def status_lines(status: Status) -> list[str]:
    """The status in words, as a site lead or manager reads it."""
    invented = " (invented demo data)" if status.is_invented else ""
    lines = [f"{status.network}{invented}"]
    if status.newest_month is None:
        lines.append(
            "No exams yet. Put export files under incoming/SITE/ and run 'elastoqa intake'."
        )
        return lines
    lines.append(f"{status.n_exams:,} exams, up to {month_name(status.newest_month)}.")
    if status.snapshot_id is None:
        lines.append("Nothing is published yet. Run 'elastoqa refresh'.")
    elif status.n_months_to_refresh:
        lines.append(
            f"Published: {status.snapshot_id}. Exams of {status.n_months_to_refresh} "
            "months came in since. Run 'elastoqa refresh'."
        )
    else:
        lines.append(f"Published: {status.snapshot_id}, nothing newer has come in.")
    lines.append("")
    for site in status.sites:
        parts = [f"{site.n_exams:,} exams"]
        if site.newest_month is None:
            parts = ["has sent no exams yet"]
        elif site.is_late:
            missing = month_name(add_months(site.newest_month, 1))
            parts.append(f"late: {missing} is not in")
        if site.n_quarantined:
            parts.append(f"{site.n_quarantined} rows wait in quarantine")
        if site.n_refused_files:
            parts.append(f"{site.n_refused_files} files refused")
        lines.append(f"  {site.name:<24} {', '.join(parts)}")
    return lines
