"""Withdraw a file whole, or let it count again, as a new fact; nothing is deleted."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import polars as pl

from qa.model.errors import WrongUse
from qa.model.schemas import FILES
from qa.stores.settings import NetworkFolder, load_network
from qa.stores.warehouse import Warehouse, open_warehouse
from qa.stores.warehouse_history import append_withdrawal, count_of_file, withdrawn_file_ids

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
    folder: Path, *, file: str, reason: str, by: str | None, at: datetime, is_undone: bool = False
) -> WithdrawReport:
    """Decide that a file does not count from now on, or that it counts again.

    Its exams fall back to the newest version that another file still holds, be it one that held
    the same row unchanged; without one they are out. A file that is withdrawn is not read again.

    Args:
        file: the file's id (SHA-256) or its first characters, or its whole name.
        reason, by: stand beside the decision.
        at: now, UTC.
        is_undone: let a withdrawn file count again.
    Raises: WrongUse when no file or several fit, or nothing would change; NetworkFolderError,
        WarehouseError.
    """
    if not reason.strip():
        raise WrongUse("a reason is missing", expected='--reason "…" in words', code="USE-020")
    load_network(folder)
    with open_warehouse(NetworkFolder(folder).warehouse) as warehouse:
        found = _find_file(warehouse, file)
        is_out = found["file_id"] in withdrawn_file_ids(warehouse)
        if is_out != is_undone:
            raise WrongUse(
                f"the file '{found['name']}' "
                + ("was withdrawn before" if is_out else "is not withdrawn"),
                todo="Nothing was changed",
                code="USE-021",
            )
        n_held, before = count_of_file(warehouse, found["file_id"])
        row = {
            "file_id": found["file_id"],
            "is_withdrawn": not is_undone,
            "reason": reason.strip(),
            "decided_by": by,
            "known_at": at,
        }
        append_withdrawal(
            warehouse, pl.DataFrame([row], schema_overrides={"decided_by": pl.String})
        )
        _, now = count_of_file(warehouse, found["file_id"])
    return WithdrawReport(found["file_id"], found["name"], n_held, before, now)


def list_files(folder: Path) -> list[ListedFile]:
    """Files that were read, the newest last."""
    load_network(folder)
    with open_warehouse(NetworkFolder(folder).warehouse) as warehouse:
        withdrawn = withdrawn_file_ids(warehouse)
        rows = _read_files(warehouse)
    return [
        ListedFile(
            row["file_id"],
            row["name"],
            row["site_id"],
            row["known_at"],
            row["n_rows"],
            row["file_id"] in withdrawn,
        )
        for row in rows.iter_rows(named=True)
    ]


def _read_files(warehouse: Warehouse) -> pl.DataFrame:
    """FILES: the newest reading of each file that was read."""
    read = warehouse.files().filter(pl.col("state") == "read")
    return FILES.conform(read.unique("file_id", keep="last", maintain_order=True))


def _find_file(warehouse: Warehouse, wanted: str) -> dict:
    files = _read_files(warehouse)
    found = files.filter(pl.col("name") == wanted)
    if found.is_empty() and len(wanted) >= SHORTEST_ID:
        found = files.filter(pl.col("file_id").str.starts_with(wanted.lower()))
    if found.height == 1:
        return found.row(0, named=True)
    raise WrongUse(
        f"'{wanted}' " + ("fits several files" if found.height else "is no file that was read"),
        expected=f"a file's id, at least its first {SHORTEST_ID} characters, or its whole name",
        todo="See the files: elastoqa withdraw --list; nothing was changed",
        code="USE-022",
    )
