"""Append many files to the warehouse at once: each table in few large pieces, all in or none."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import polars as pl

from qa.model.schemas import EXAMS, FILES, QUARANTINED, ROWS_READ, SIGHTINGS
from qa.stores.warehouse import Warehouse
from qa.stores.warehouse_tables import names_of

_SCHEMAS = {one.name: one for one in (FILES, EXAMS, QUARANTINED, ROWS_READ, SIGHTINGS)}


class FileAppender:
    """Takes rows of several files; `file_no` says which file of the batch each belongs to."""

    def __init__(self, warehouse: Warehouse, first_seq: int) -> None:
        self._con = warehouse._con
        self._first_seq = first_seq

    def append(self, table: str, rows: pl.DataFrame) -> None:
        """Append rows to files, exams, quarantined, rows_read or sightings.

        Args: rows: the columns of the table's schema, and file_no, which sets the order of the
            files among all that the warehouse has.
        """
        if rows.is_empty():
            return
        schema = _SCHEMAS[table]
        names = names_of(schema)
        # Views of text go over as they are; the older form of Arrow would copy every text.
        appended_rows = (
            schema.conform(rows)
            .with_columns(rows["file_no"])
            .to_arrow(compat_level=pl.CompatLevel.newest())
        )
        self._insert(table, names, appended_rows)

    def _insert(self, table: str, names: str, appended_rows: Any) -> None:
        """DuckDB finds the rows by the name of the argument. A registered view of them would keep
        them in memory until the transaction ends, even once it is dropped."""
        self._con.execute(
            f"INSERT INTO {table} ({names}, file_seq) "
            f"SELECT {names}, {self._first_seq} + file_no FROM appended_rows"
        )


@contextmanager
def appending_files(warehouse: Warehouse, *, first_no: int = 0) -> Iterator[FileAppender]:
    """One transaction for all files that are appended in it.

    Args: first_no: file_no of the first of them.
    """
    with warehouse._transaction():
        yield FileAppender(warehouse, warehouse._next_seq() - first_no)
