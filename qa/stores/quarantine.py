"""What the warehouse knows of rows that wait: which, since when, and what became of others."""

from datetime import datetime

import polars as pl

from qa.model.schemas import QUARANTINED, RESOLUTIONS, ROWS_READ
from qa.stores.warehouse import Warehouse

FUTURE = "CHK-010"
"""Code of rows whose exam lies after the moment at which they were read."""


def waiting_rows(
    warehouse: Warehouse, *, site_id: str | None = None, file_id: str | None = None
) -> pl.DataFrame:
    """QUARANTINED: rows that wait, of one site or file where it is given, as their files came."""
    tests, params = ["true"], list[str]()
    for column, wanted in (("site_id", site_id), ("file_id", file_id)):
        if wanted is not None:
            tests.append(f"{column} = ?")
            params.append(wanted)
    tail = f"current_quarantined WHERE {' AND '.join(tests)} ORDER BY file_seq, row_no"
    return warehouse._rows(QUARANTINED, tail, params)


def row_history(warehouse: Warehouse, file_id: str) -> pl.DataFrame:
    """QUARANTINED: every time that a row of this file was held back, in order."""
    return warehouse._rows(
        QUARANTINED, "quarantined WHERE file_id = ? ORDER BY row_no, file_seq", [file_id]
    )


def resolutions(warehouse: Warehouse, *, file_id: str | None = None) -> pl.DataFrame:
    """RESOLUTIONS: rows that waited once and do not any more, of one file where it is given."""
    test = "" if file_id is None else "WHERE file_id = ?"
    tail = f"resolutions {test} ORDER BY known_at, file_id, row_no"
    return warehouse._rows(RESOLUTIONS, tail, [] if file_id is None else [file_id])


def files_due(warehouse: Warehouse, *, at: datetime) -> set[str]:
    """Files with a row that lay in the future when it was read, and does not any more."""
    found = warehouse._first_column(
        """SELECT DISTINCT file_id FROM current_quarantined
        WHERE list_contains(codes, ?) AND exam_at <= ? AND known_at < ?""",
        [FUTURE, at, at],
    )
    return set(found)


def rows_read(warehouse: Warehouse) -> pl.DataFrame:
    """ROWS_READ of the newest reading of every file."""
    return warehouse._rows(
        ROWS_READ,
        "rows_read SEMI JOIN newest_readings USING (file_id, file_seq) "
        "ORDER BY file_seq, site_id, month",
    )
