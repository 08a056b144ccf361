"""Withdraw a file whole, or let it count again, as a new fact; nothing is deleted."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import polars as pl

from qa.model.errors import WrongUse
from qa.model.schemas import FILES, WITHDRAWALS
from qa.stores.settings import NetworkFolder, load_network
from qa.stores.warehouse import Warehouse, open_warehouse
from qa.stores.warehouse_history import append_withdrawal, count_of_file, withdrawn_files

SHORTEST_ID = 6


@dataclass(frozen=True)
class WithdrawReport:
    """What a withdrawal did.

    n_held: exams that the file had a row of. n_stand_before, n_stand_now: how many of these stood
    and stand, by this file or another.
    """

    file_id: str
    name: str
    n_held: int
    n_stand_before: int
    n_stand_now: int


@dataclass(frozen=True)
class ListedFile:
    """A file that was read, for a person to choose from."""

    file_id: str
    name: str
    site_id: str | None
    read_at: datetime
    n_rows: int
    is_withdrawn: bool


def run_withdraw(
    folder: Path,
    *,
    file: str,
    reason: str,
    by: str | None,
    at: datetime,
    is_undone: bool = False,
    site_id: str | None = None,
) -> WithdrawReport:
    """Decide that a file does not count from now on, or that it counts again.

    Its exams fall back to the newest version that another file still holds, be it one that held
    the same row unchanged; without one they are out. A file that is withdrawn is not read again
    as sent by that site; from another site's folder it is read anew, with exams of that site.

    Args:
        file: the file's id (SHA-256) or its first characters, or its whole name.
        reason, by: stand beside the decision.
        at: now, UTC.
        is_undone: let a withdrawn file count again.
        site_id: the site under which it was read, where it was read under several.
    Raises: WrongUse when no file or several fit, nothing would change, or the file would count for
        two sites; NetworkFolderError, WarehouseError.
    """
    if not reason.strip():
        raise WrongUse("a reason is missing", expected='--reason "…" in words', code="USE-020")
    load_network(folder)
    with open_warehouse(NetworkFolder(folder).warehouse) as warehouse:
        found = _find_file(warehouse, file, site_id=site_id, is_out=is_undone)
        place = found["file_id"], found["site_id"]
        n_held, before = count_of_file(warehouse, *place)
        row = {
            "file_id": found["file_id"],
            "site_id": found["site_id"],
            "is_withdrawn": not is_undone,
            "reason": reason.strip(),
            "decided_by": by,
            "known_at": at,
        }
        append_withdrawal(warehouse, pl.DataFrame([row], schema_overrides=WITHDRAWALS.to_polars()))
        _, now = count_of_file(warehouse, *place)
    return WithdrawReport(found["file_id"], found["name"], n_held, before, now)


def list_files(folder: Path) -> list[ListedFile]:
    """Files that were read, the newest last."""
    load_network(folder)
    with open_warehouse(NetworkFolder(folder).warehouse) as warehouse:
        withdrawn = withdrawn_files(warehouse)
        rows = _read_files(warehouse)
    return [
        ListedFile(
            row["file_id"],
            row["name"],
            row["site_id"],
            row["known_at"],
            row["n_rows"],
            (row["file_id"], row["site_id"]) in withdrawn,
        )
        for row in rows.iter_rows(named=True)
    ]


def _read_files(warehouse: Warehouse) -> pl.DataFrame:
    """FILES: the newest reading of each file that was read, under each site."""
    read = warehouse.files().filter(pl.col("state") == "read")
    newest = read.unique(["file_id", "site_id"], keep="last", maintain_order=True)
    return FILES.conform(newest)


def _find_file(warehouse: Warehouse, wanted: str, *, site_id: str | None, is_out: bool) -> dict:
    """The reading that a decision is about: the newest that is withdrawn, or that counts."""
    withdrawn = withdrawn_files(warehouse)
    readings = _readings_of_one(_read_files(warehouse), wanted, site_id)
    counting = [row for row in readings if (row["file_id"], row["site_id"]) not in withdrawn]
    fitting = [
        row
        for row in readings
        if (row not in counting) == is_out and site_id in (None, row["site_id"])
    ]
    if not fitting:
        raise _nothing_to_change(readings[-1], is_out=is_out)
    if is_out and counting:
        raise _of_two_sites(counting[-1])
    return fitting[-1]


def _readings_of_one(files: pl.DataFrame, wanted: str, site_id: str | None) -> list[dict]:
    """Every site's reading of the one file that is meant."""
    own = files if site_id is None else files.filter(pl.col("site_id") == site_id)
    found = own.filter(pl.col("name") == wanted)
    if found.is_empty() and len(wanted) >= SHORTEST_ID:
        found = own.filter(pl.col("file_id").str.starts_with(wanted.lower()))
    if found["file_id"].n_unique() != 1:
        raise WrongUse(
            f"'{wanted}' " + ("fits several files" if found.height else "is no file that was read"),
            expected=f"a file's id, at least its first {SHORTEST_ID} characters, or its whole "
            "name; with --site S only files of that site",
            todo="See the files: elastoqa withdraw --list; nothing was changed",
            code="USE-022",
        )
    return files.filter(pl.col("file_id") == found["file_id"][0]).rows(named=True)


def _nothing_to_change(row: dict, *, is_out: bool) -> WrongUse:
    state = "is not withdrawn" if is_out else "was withdrawn before"
    return WrongUse(f"the file '{row['name']}' {state}", todo="Nothing was changed", code="USE-021")


def _of_two_sites(row: dict) -> WrongUse:
    return WrongUse(
        f"the file '{row['name']}' was read since as sent by {row['site_id'] or 'several sites'}",
        expected="a file that counts for one site only",
        todo="Withdraw that reading first; nothing was changed",
        code="USE-031",
    )
