"""Look at what waits in quarantine, row by row, and read it again when it may come right."""

import hashlib
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import polars as pl

from qa.jobs.intake import IntakeReport, run_intake
from qa.jobs.intake_sources import Source, find_sources
from qa.model.definitions import Network
from qa.model.errors import WrongUse
from qa.model.progress import Progress, show_nothing
from qa.stores.quarantine import FUTURE, resolutions, row_history, waiting_rows
from qa.stores.settings import NetworkFolder, load_network, load_profiles
from qa.stores.warehouse import open_warehouse
from qa.stores.warehouse_history import withdrawn_files
from qa.views import words
from qa.views.waiting import (
    WaitingFile,
    WaitingRow,
    files_of_site,
    waiting_files,
    waiting_row,
)

SHORTEST_ID = 4


@dataclass(frozen=True)
class Waiting:
    """Files with rows that wait, refused files, and how many rows came right so far."""

    files: tuple[WaitingFile, ...]
    n_resolved: int

    @property
    def n_rows(self) -> int:
        return sum(len(file.rows) for file in self.files)

    @property
    def n_refused(self) -> int:
        return sum(1 for file in self.files if file.problem)

    def to_json(self) -> dict[str, Any]:
        """Plain values: times as ISO text."""

        def plain(value: Any) -> Any:
            if isinstance(value, datetime):
                return value.isoformat()
            if isinstance(value, dict):
                return {key: plain(one) for key, one in value.items()}
            return [plain(one) for one in value] if isinstance(value, list | tuple) else value

        return plain(
            {
                "n_rows": self.n_rows,
                "n_refused": self.n_refused,
                "n_resolved": self.n_resolved,
                "files": [asdict(file) for file in self.files],
            }
        )


@dataclass(frozen=True)
class RowTrace:
    """One row's way: each time that it was held back, and what resolved it.

    resolved: one sentence; "" where the row still waits.
    """

    row_no: int
    held: tuple[WaitingRow, ...]
    is_waiting: bool
    resolved: str


@dataclass(frozen=True)
class FileTrace:
    """A file and the rows of it that were ever held back."""

    file_id: str
    name: str
    site_id: str | None
    rows: tuple[RowTrace, ...]


@dataclass
class RetryReport:
    """What a retry did. lost: files that are not in incoming/ any more."""

    n_files: int = 0
    n_before: int = 0
    n_after: int = 0
    lost: list[WaitingFile] = field(default_factory=list)
    intake: IntakeReport = field(default_factory=IntakeReport)

    @property
    def n_resolved(self) -> int:
        return self.n_before - self.n_after


def find_waiting(folder: Path, *, site_id: str | None = None) -> Waiting:
    """What waits, of one site where it is given.

    Raises: NetworkFolderError, WarehouseError, WrongUse (no such site).
    """
    network = load_network(folder)
    _require_site(network, site_id)
    with open_warehouse(NetworkFolder(folder).warehouse) as warehouse:
        rows, files = waiting_rows(warehouse), warehouse.files()
        done = resolutions(warehouse)
    if site_id is not None:
        done = done.filter(site_id=site_id)
    return Waiting(files_of_site(waiting_files(rows, files), site_id), done.height)


def _require_site(network: Network, site_id: str | None) -> None:
    if site_id is not None and network.site(site_id) is None:
        names = ", ".join(site.id for site in network.sites[:12])
        raise WrongUse(
            f"there is no site '{site_id}'",
            expected=f"one of {names}{' …' * (len(network.sites) > 12)}",
            code="USE-003",
        )


def trace_file(folder: Path, *, file_number: str, row_no: int | None = None) -> FileTrace:
    """The history of a file's rows in quarantine.

    Args:
        file_number: the file's SHA-256 or its first digits.
        row_no: only this row.
    Raises: WrongUse when no file or no such row was ever held back.
    """
    load_network(folder)
    with open_warehouse(NetworkFolder(folder).warehouse) as warehouse:
        file = _find_file(warehouse.files(), file_number)
        held = row_history(warehouse, file["file_id"])
        waiting = set(waiting_rows(warehouse, file_id=file["file_id"])["row_no"])
        is_out = (file["file_id"], file["site_id"]) in withdrawn_files(warehouse)
        done = {
            row["row_no"]: row
            for row in resolutions(warehouse, file_id=file["file_id"]).rows(named=True)
        }
    if row_no is not None:
        held = held.filter(row_no=row_no)
    if held.is_empty():
        row = "" if row_no is None else f", row {row_no}"
        raise WrongUse(
            "nothing of it was ever held back",
            where=f"file {file['file_id'][:12]}{row}",
            todo="See what waits with: elastoqa quarantine list",
            code="USE-004",
        )
    rows = tuple(
        RowTrace(
            row_no=number,
            held=tuple(waiting_row(one) for one in part.iter_rows(named=True)),
            is_waiting=number in waiting,
            resolved=_resolved_text(done.get(number))
            or ("its file is withdrawn" if is_out and number not in waiting else ""),
        )
        for (number,), part in held.group_by("row_no", maintain_order=True)
    )
    return FileTrace(file["file_id"], file["name"], file["site_id"], rows)


def _resolved_text(row: dict[str, Any] | None) -> str:
    """Example: 'read again on 2026-11-06 08:00 UTC by profile plain.v2 (manager)'"""
    if row is None:
        return ""
    how = row["how"]
    if row["by_file_id"] != row["file_id"]:
        how = f"came right in file {row['by_file_id'][:12]}, read"
    who = f" ({row['read_by']})" if row["read_by"] else ""
    return f"{how} on {row['known_at']:%Y-%m-%d %H:%M} UTC by profile {row['profile_id']}{who}"


def _find_file(files: pl.DataFrame, file_number: str) -> dict[str, Any]:
    """The newest entry of the one file whose SHA-256 begins so."""
    wanted = file_number.strip().lower()
    found = files.filter(pl.col("file_id").str.starts_with(wanted))
    ids = found["file_id"].unique().to_list()
    if len(wanted) < SHORTEST_ID or len(ids) != 1:
        many = "several files have" if len(ids) > 1 else "no file has"
        raise WrongUse(
            f"{many} a number that begins so" if len(wanted) >= SHORTEST_ID else "it is too short",
            where=f"file number '{wanted[:64]}'",
            expected=f"at least {SHORTEST_ID} digits of a file number, as 'quarantine list' shows",
            code="USE-005",
        )
    return found.sort("known_at").row(-1, named=True)


def run_retry(
    folder: Path,
    *,
    key: bytes,
    known_at: datetime,
    by: str | None,
    site_id: str | None = None,
    file_number: str | None = None,
    progress: Progress = show_nothing,
) -> RetryReport:
    """Read files with waiting rows again from incoming/, whatever changed or did not.

    Rows that come right enter; what was known of them in quarantine stays as their history.

    Args:
        key: the pseudonym key.
        by: who asked; stands beside the reading.
        site_id, file_number: only files of this site, or this file.
    Raises: as run_intake; WrongUse when the site or file is unknown.
    """
    waiting = find_waiting(folder, site_id=site_id)
    wanted = [file for file in waiting.files if file.rows]
    if file_number is not None:
        with open_warehouse(NetworkFolder(folder).warehouse) as warehouse:
            chosen = _find_file(warehouse.files(), file_number)["file_id"]
        wanted = [file for file in wanted if file.file_id == chosen]
    report = RetryReport(n_before=sum(len(file.rows) for file in wanted))
    sources = _sources_by_id(folder, {_as_sent(file) for file in wanted}, key=key)
    report.lost = [file for file in wanted if _as_sent(file) not in sources]
    again = [file for file in wanted if _as_sent(file) in sources]
    report.n_files = len(again)
    if again:
        report.intake = run_intake(
            folder,
            files=[sources[_as_sent(file)].path for file in again],
            key=key,
            known_at=known_at,
            by=by,
            again={file.file_id for file in again},
            progress=progress,
        )
    left = {file.file_id: len(file.rows) for file in find_waiting(folder, site_id=site_id).files}
    report.n_after = sum(left.get(file.file_id, 0) for file in wanted)
    return report


def _as_sent(file: WaitingFile) -> tuple[str, str | None]:
    return file.file_id, file.site_id


def _sources_by_id(
    folder: Path, wanted: set[tuple[str, str | None]], *, key: bytes
) -> dict[tuple[str, str | None], Source]:
    """The files of incoming/ that are wanted, by the SHA-256 of their bytes and their site."""
    if not wanted:
        return {}
    network, profiles = load_network(folder), load_profiles(folder)
    found: dict[tuple[str, str | None], Source] = {}
    for source in find_sources(
        folder, files=(), site_id=None, network=network, profiles=profiles, key=key
    ):
        try:
            with source.path.open("rb") as file:
                file_id = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError:
            continue
        if (file_id, source.site_id) in wanted:
            found.setdefault((file_id, source.site_id), source)
    return found


def waiting_lines(waiting: Waiting) -> list[str]:
    """What waits in words, file by file."""
    lines = []
    for file in waiting.files:
        site = file.site_id or "several sites"
        head = f"{site}: {file.name}, file {file.number}"
        if file.problem:
            lines += [f"{head}: refused", f"    {file.problem}"]
            continue
        is_due = any(one.code == FUTURE for row in file.rows for one in row.faults)
        later = " (rows of the future are read again when their time has come)" if is_due else ""
        lines.append(f"{head}: {len(file.rows):,} of {file.n_rows:,} rows wait{later}")
        lines += [f"  {words.row_count(n)}  {code}  {text}" for code, text, n in file.reasons]
    return lines


def trace_lines(trace: FileTrace) -> list[str]:
    """A file's rows in words, each with its history."""
    lines = [f"{trace.site_id or 'several sites'}: {trace.name}, file {trace.file_id[:12]}"]
    for row in trace.rows:
        state = "waits" if row.is_waiting else "does not wait any more"
        lines.append(f"Row {row.row_no} {state}.")
        for held in row.held:
            lines.append(f"  held back on {held.known_at:%Y-%m-%d %H:%M} UTC by {held.profile_id}:")
            lines += [
                f"    {one.code}  {one.sentence} {one.column}: found {one.found}; "
                f"expected {one.expected}. {one.step}"
                for one in held.faults
            ]
        if row.resolved:
            lines.append(f"  {row.resolved}")
    return lines
