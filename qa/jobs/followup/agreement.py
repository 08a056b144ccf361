"""Exams of the current snapshot, for studies of agreement."""

from pathlib import Path

import polars as pl

from qa.stores.snapshots import open_current


def published_exams(folder: Path, *, site_id: str | None = None) -> pl.DataFrame:
    """Every current exam, of one site where it is named. Raises: SnapshotError."""
    snapshot = open_current(folder)
    try:
        where = {"site_id": site_id} if site_id else {}
        return snapshot.frame("exams", **where)
    finally:
        snapshot.close()
