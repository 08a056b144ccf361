"""Remove one person's rows on a lawful request; what was issued stays, and nobody learns whose."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import polars as pl

from qa.intake.pseudonym import hidden_key, patient_key_of
from qa.jobs.forget_traces import Traces, find_traces
from qa.jobs.intake import require_same_key
from qa.model.errors import WarehouseError, WrongUse
from qa.stores.forgetting import Removed, note_removal, remove_person, write_warehouse_anew
from qa.stores.rewriting import remove_from_copy, remove_from_snapshot
from qa.stores.settings import NetworkFolder, load_network
from qa.stores.warehouse import open_warehouse
from qa.views.words import counted

NAMED = 20
"""Files of one kind that are named; the rest are counted."""


@dataclass(frozen=True)
class ForgetReport:
    """What was removed, and what still holds the person's rows and is not for us to change.

    copies: older copies of the warehouse beside it that the rows were taken out of.
    spoilt: copies that could not be mended, each in words.
    traces: files of the folder that still hold the person.
    moved: files that held the person and are not in incoming/ any more, by site, name and number.
    """

    removed: Removed
    n_snapshots: int
    copies: tuple[str, ...]
    spoilt: tuple[str, ...]
    traces: Traces
    moved: tuple[str, ...]


def run_forget(
    folder: Path, *, number: str, key: bytes, at: datetime, by: str, reason: str | None = None
) -> ForgetReport:
    """Remove a person's exams, verdicts and rows in quarantine, bytes included.

    Counts, charts and packs that were issued stay; later refreshes count without the rows. The
    person's rows stay out when their export is read again. Running it twice finishes what an
    interruption left. Copies of the warehouse that a migration left lose the rows too; exports,
    backups and other files are looked through and named.

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
        files = warehouse.files()
        removed = remove_person(
            warehouse, patient_key=patient_key, hidden_key=hidden_key(patient_key, key=key)
        )
        n_snapshots = _remove_from_snapshots(root.snapshots, patient_key, at)
        copies, spoilt = _remove_from_copies(root.warehouse, patient_key)
        if removed.n_rows or n_snapshots:
            note_removal(warehouse, removed, n_snapshots=n_snapshots, reason=reason, by=by, at=at)
        write_warehouse_anew(warehouse, root.warehouse)
    # Not before the warehouse is closed: nothing here may open and close one of its files.
    traces = find_traces(
        root,
        number=number,
        patient_key=patient_key,
        file_ids=removed.file_ids,
        read_ids=files.filter(state="read")["file_id"].to_list(),
    )
    moved = [one for one in removed.file_ids if one not in traces.found_ids]
    return ForgetReport(removed, n_snapshots, copies, spoilt, traces, _named(files, moved))


def _remove_from_snapshots(snapshots: Path, patient_key: str, at: datetime) -> int:
    n_changed = 0
    for path in sorted(snapshots.glob("*.duckdb")):
        n_changed += remove_from_snapshot(path, patient_key=patient_key, at=at) > 0
    return n_changed


def _remove_from_copies(
    warehouse: Path, patient_key: str
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Copies that lost rows, and those that could not be mended. Halves of copies are deleted:
    only a migration makes them, and none runs while the warehouse is ours."""
    changed, spoilt = [], []
    for path in sorted(warehouse.parent.glob(f"{warehouse.name}.version-*")):
        if path.name.endswith(".unfinished"):
            path.unlink()
            continue
        try:
            if remove_from_copy(path, patient_key=patient_key):
                changed.append(path.name)
        except WarehouseError as problem:
            spoilt.append(problem.message)
    return tuple(changed), tuple(spoilt)


def _named(files: pl.DataFrame, file_ids: Sequence[str]) -> tuple[str, ...]:
    newest = files.filter(pl.col("file_id").is_in(list(file_ids))).unique(
        "file_id", keep="last", maintain_order=True
    )
    return tuple(
        f"{row['site_id'] or 'several sites'}: {row['name']}, file {row['file_id'][:12]}"
        for row in newest.iter_rows(named=True)
    )


def forget_lines(report: ForgetReport) -> list[str]:
    """What was done, and what is left to do, in words. For the one who asked only: the files
    that are named hold the person, and a file may be named after somebody."""
    removed = report.removed
    lines = [
        f"{counted(removed.n_exam_versions, 'version')} of {counted(removed.n_exams, 'exam')} and "
        f"{counted(removed.n_quarantined, 'row')} in quarantine were removed from the warehouse; "
        f"exam rows were taken out of {counted(report.n_snapshots, 'snapshot')}.",
        "Figures, charts and packs that were issued stay as they are. The record says how many "
        "rows were removed, when and why; not whose.",
    ]
    if not (removed.n_rows or report.n_snapshots):
        lines = ["Nothing of this number is in the warehouse or in a snapshot."]
    if report.copies:
        lines.append(f"The rows were taken out of older copies too: {', '.join(report.copies)}.")
    if removed.n_rows:
        lines.append("Run 'elastoqa refresh'. Open screens show the person no more.")
    return lines + _left_lines(report)


def _left_lines(report: ForgetReport) -> list[str]:
    traces = report.traces
    parts: tuple[tuple[str, Sequence[str]], ...] = (
        ("These copies of the warehouse may still hold the rows:", report.spoilt),
        (
            "These exports still hold the person. Have their sites mend or delete them; until then "
            "the rows stay out each time that they are read:",
            traces.exports,
        ),
        (
            "These held the person and are not in incoming/ any more; mend or delete them where "
            "they are kept:",
            report.moved,
        ),
        (
            "These backups may hold the person. Delete them when you do not need them any more; "
            "after one was restored, run 'forget' again:",
            traces.backups,
        ),
        ("These files hold the person's number or its hash; look and delete:", traces.others),
        (
            "These exports are packed and were not read yet, so they could not be searched:",
            traces.unsearched,
        ),
    )
    lines = []
    for title, names in parts:
        if names:
            lines += [title, *(f"  {name}" for name in names[:NAMED])]
            lines += [f"  and {len(names) - NAMED:,} more"] * (len(names) > NAMED)
    return [*lines, "Backups and exports that are kept elsewhere are out of reach: think of them."]
