"""Remove one person's rows on a lawful request; what was issued stays, and nobody learns whose."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import polars as pl

from qa.intake.pseudonym import hidden_key, patient_key_of
from qa.jobs.intake import require_same_key
from qa.model.errors import WrongUse
from qa.stores.forgetting import (
    Removed,
    note_removal,
    remove_from_snapshot,
    remove_person,
    write_warehouse_anew,
)
from qa.stores.settings import NetworkFolder, load_network
from qa.stores.warehouse import open_warehouse


@dataclass(frozen=True)
class ForgetReport:
    """What was removed, and what still holds the person's rows and is not for us to change.

    source_files: exports in incoming/ by site, name and number.
    copies: older copies of the warehouse beside it.
    """

    removed: Removed
    n_snapshots: int
    source_files: tuple[str, ...]
    copies: tuple[Path, ...]


def run_forget(
    folder: Path, *, number: str, key: bytes, at: datetime, by: str, reason: str | None = None
) -> ForgetReport:
    """Remove a person's exams, verdicts and rows in quarantine, bytes included.

    Counts, charts and packs that were issued stay; later refreshes count without the rows. The
    person's rows stay out when their export is read again. Running it twice finishes what an
    interruption left.

    Args:
        number: the patient's number as the exports hold it (joined as the profile joins it).
        key: the pseudonym key.
        at: now, UTC.   by, reason: stand in the record of removals.
    Raises: KeyMissing (another key), WarehouseError, SnapshotError, WrongUse (no number).
    """
    number = number.strip()
    if not number:
        raise WrongUse(
            "no patient's number was given",
            expected="the number as the site's exports hold it",
            code="USE-006",
        )
    load_network(folder)
    root = NetworkFolder(folder)
    patient_key = patient_key_of(number, key=key)
    with open_warehouse(root.warehouse) as warehouse:
        require_same_key(warehouse, key)
        names = warehouse.files()
        removed = remove_person(
            warehouse, patient_key=patient_key, hidden_key=hidden_key(patient_key, key=key)
        )
        n_snapshots = _remove_from_snapshots(root.snapshots, patient_key, at)
        if removed.n_rows or n_snapshots:
            note_removal(warehouse, removed, n_snapshots=n_snapshots, reason=reason, by=by, at=at)
        write_warehouse_anew(warehouse, root.warehouse)
    return ForgetReport(
        removed=removed,
        n_snapshots=n_snapshots,
        source_files=_named(names, removed.file_ids),
        copies=tuple(sorted(root.root.glob(f"{root.warehouse.name}.*"))),
    )


def _remove_from_snapshots(snapshots: Path, patient_key: str, at: datetime) -> int:
    n_changed = 0
    for path in sorted(snapshots.glob("*.duckdb")):
        n_changed += remove_from_snapshot(path, patient_key=patient_key, at=at) > 0
    return n_changed


def _named(files: pl.DataFrame, file_ids: Sequence[str]) -> tuple[str, ...]:
    newest = files.filter(pl.col("file_id").is_in(list(file_ids))).unique(
        "file_id", keep="last", maintain_order=True
    )
    return tuple(
        f"{row['site_id'] or 'several sites'}: {row['name']}, file {row['file_id'][:12]}"
        for row in newest.iter_rows(named=True)
    )


def forget_lines(report: ForgetReport) -> list[str]:
    """What was done, and what is left to do, in words."""
    removed = report.removed
    lines = [
        f"{removed.n_exam_versions:,} versions of {removed.n_exams:,} exams and "
        f"{removed.n_quarantined:,} rows in quarantine were removed from the warehouse; exam rows "
        f"were taken out of {report.n_snapshots:,} snapshots.",
        "Figures, charts and packs that were issued stay as they are. The record says how many "
        "rows were removed, when and why; not whose.",
    ]
    if not removed.n_rows and not report.n_snapshots:
        lines = ["Nothing of this number is in the warehouse or in a snapshot."]
    if report.source_files:
        lines.append("These exports still hold the person; have their sites mend or delete them:")
        lines += [f"  {name}" for name in report.source_files]
    if report.copies:
        lines.append("These copies of the warehouse may still hold the rows; delete them, and any")
        lines.append("backup that is kept elsewhere, when you do not need them any more:")
        lines += [f"  {path.name}" for path in report.copies]
    if report.n_snapshots:
        lines.append("Stop and start 'elastoqa serve' where it is running, and run 'refresh'.")
    return lines
