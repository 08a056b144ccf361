"""The warehouse: one DuckDB file, append-only, one writer at a time.

Nothing is updated or deleted. Every source file is one transaction, every refresh is one. The
order of the transactions is kept in `file_seq` and `refresh_seq`, so "newest" never depends on
a clock. Tables come from qa/model/schemas.py; views over them say what is current.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import date, datetime
from pathlib import Path
from typing import Any, BinaryIO

import duckdb
import polars as pl

from qa.model.case_mix_schemas import CASE_MIX_COUNTS
from qa.model.errors import WarehouseError
from qa.model.schemas import (
    ASSESSMENTS,
    BASELINES,
    EXAMS,
    FILES,
    GRADE_COUNTS,
    MONTHLY_COUNTS,
    QUARANTINED,
    ROWS_READ,
    SIGHTINGS,
    UTC_TIME,
    Schema,
)
from qa.stores.disk import is_disk_full
from qa.stores.migrations import bring_forward, is_complete
from qa.stores.warehouse_lock import WAIT_SECONDS, connect_in_turn
from qa.stores.warehouse_tables import (
    KNOWN_FILES,
    LATEST_VERSIONS,
    SCHEMA_VERSION,
    TOUCHED_EXAMS,
    create_tables,
    find_version,
    look_back,
    names_of,
    warehouse_disk_full,
)

Params = Sequence[Any] | dict[str, Any]


@contextmanager
def open_warehouse(
    path: Path,
    *,
    create: bool = False,
    wait_seconds: float = WAIT_SECONDS,
    as_known_at: datetime | None = None,
) -> Iterator["Warehouse"]:
    """Open the warehouse for this process alone; it is closed on leaving.

    Args:
        create: make a new one where there is none.
        wait_seconds: how long to wait while another program has it.
        as_known_at: show what was known then: every fact whose known_at is not after it, in the
            order of their transactions. Such a warehouse is only read.
    Raises: WarehouseError when it is missing, busy, newer than this program or no warehouse.
    """
    if not create and not path.exists():
        raise WarehouseError(
            "there is no warehouse yet",
            where=str(path),
            todo="Read export files first: elastoqa intake",
            code="WHS-001",
        )
    con = connect_in_turn(path, wait_seconds=wait_seconds)
    source: BinaryIO | None = None
    try:
        if create and not con.sql("SELECT 1 FROM duckdb_tables()").fetchall():
            create_tables(con)
        version = find_version(con, path)
        if version < SCHEMA_VERSION or not is_complete(con):
            source = path.open("rb")
            bring_forward(con, path, from_version=version, source=source)
        if as_known_at is not None:
            look_back(con, as_known_at)
        yield Warehouse(con, as_known_at=as_known_at)
    except (duckdb.Error, OSError) as problem:
        if is_disk_full(problem):
            raise warehouse_disk_full(path) from None
        raise
    finally:
        con.close()
        if source is not None:
            source.close()


class Warehouse:
    """Calls on an open warehouse. Frames have the schemas of qa/model/schemas.py."""

    def __init__(
        self, con: duckdb.DuckDBPyConnection, *, as_known_at: datetime | None = None
    ) -> None:
        self._con = con
        self.as_known_at = as_known_at

    def _query(self, sql: str, params: Params = ()) -> pl.DataFrame:
        given = params if isinstance(params, dict) else list(params)
        return self._con.sql(sql, params=given).pl()

    def _rows(self, schema: Schema, tail: str, params: Params = ()) -> pl.DataFrame:
        return schema.conform(self._query(f"SELECT {names_of(schema)} FROM {tail}", params))

    def _first_column(self, sql: str, params: Sequence[Any] = ()) -> list[Any]:
        return [row[0] for row in self._con.sql(sql, params=list(params)).fetchall()]

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        """All or nothing; an interruption inside leaves the warehouse as it was."""
        self._con.execute("BEGIN")
        try:
            yield
        except BaseException:
            # After a fatal error there is nothing to roll back, and saying so would hide it.
            with suppress(duckdb.Error):
                self._con.execute("ROLLBACK")
            raise
        self._con.execute("COMMIT")

    def _insert(self, table: str, schema: Schema, frame: pl.DataFrame, **extra: int) -> None:
        """Append a frame; `extra` are the sequence columns, which stand last in the table."""
        if not frame.height:
            return
        rows = schema.conform(frame)
        columns = names_of(schema) + "".join(f', "{name}"' for name in extra)
        values = names_of(schema) + "".join(f", {number}" for number in extra.values())
        self._con.register("incoming_rows", rows)
        self._con.execute(f"INSERT INTO {table} ({columns}) SELECT {values} FROM incoming_rows")
        self._con.unregister("incoming_rows")

    # Files and exams

    def known_files(self) -> pl.DataFrame:
        """One row per file and site: its newest reading and the place of its first; KNOWN_FILES."""
        return self._query(
            """SELECT file_id, site_id, name, state, problem, intake_fingerprint, known_at,
                first_seq FROM (SELECT *, min(file_seq) OVER known AS first_seq,
                         max(file_seq) OVER known AS last_seq
                  FROM files WINDOW known AS (PARTITION BY file_id, site_id))
            WHERE file_seq = last_seq ORDER BY first_seq"""
        ).cast(KNOWN_FILES)

    def latest_versions(self, exam_keys: pl.Series | None = None) -> pl.DataFrame:
        """One row per known exam: what stands of it and the file that it came from.

        Args:     exam_keys: only these exams; None: all.
        Returns:  LATEST_VERSIONS. version_no is the highest ever given; the rest is of the version
                  that stands, and null where its files were withdrawn. first_seq is when its file
                  first arrived.
        """
        keys = "" if exam_keys is None else "SEMI JOIN asked_keys USING (exam_key)"
        if exam_keys is not None:
            self._con.register("asked_keys", pl.DataFrame({"exam_key": exam_keys}))
        result = self._query(
            f"""SELECT exam_key, newest.version_no, row_hash, patient_key, exam_on, first_seq,
                file_id, standing.version_no AS standing_version_no
            FROM (SELECT exam_key, max(version_no) AS version_no FROM exams {keys}
                  GROUP BY exam_key) AS newest
            LEFT JOIN (SELECT * FROM standing_exams {keys}
                       QUALIFY version_no = max(version_no) OVER (PARTITION BY exam_key)
                ) AS standing USING (exam_key)
            LEFT JOIN (SELECT file_id, min(file_seq) AS first_seq FROM files
                       ANTI JOIN withdrawn_readings USING (file_seq) GROUP BY file_id)
                USING (file_id)"""
        ).cast(LATEST_VERSIONS)
        if exam_keys is not None:
            self._con.unregister("asked_keys")
        return result

    def append_file(
        self,
        file_row: pl.DataFrame,
        exams: pl.DataFrame,
        quarantined: pl.DataFrame,
        *,
        rows_read: pl.DataFrame | None = None,
        sightings: pl.DataFrame | None = None,
    ) -> None:
        """Write one file with its accepted and quarantined rows, in one transaction.

        Args: frames of FILES (one row), EXAMS, QUARANTINED, ROWS_READ and SIGHTINGS.
        """
        with self._transaction():
            seq = self._next_seq()
            self._insert("files", FILES, file_row, file_seq=seq)
            self._insert("exams", EXAMS, exams, file_seq=seq)
            self._insert("quarantined", QUARANTINED, quarantined, file_seq=seq)
            if rows_read is not None:
                self._insert("rows_read", ROWS_READ, rows_read, file_seq=seq)
            if sightings is not None:
                self._insert("sightings", SIGHTINGS, sightings, file_seq=seq)

    def _next_seq(self) -> int:
        """The place of the next fact in the order of all."""
        [seq] = self._first_column("SELECT coalesce(max(file_seq), 0) + 1 FROM facts")
        return int(seq)

    def current_exams(
        self,
        *,
        months: Sequence[date] | None = None,
        from_day: date | None = None,
        to_day: date | None = None,
    ) -> pl.DataFrame:
        """EXAMS: the newest version of every exam that is not retracted, by site and time.

        Args:
            months: only exams of these months.
            from_day, to_day: only exams from from_day on and before to_day.
        """
        tests, params = ["NOT is_retracted"], list[Any]()
        if months is not None:
            tests.append("list_contains(?, month)")
            params.append(list(months))
        if from_day is not None:
            tests.append("exam_on >= ?")
            params.append(from_day)
        if to_day is not None:
            tests.append("exam_on < ?")
            params.append(to_day)
        tail = f"current_exams WHERE {' AND '.join(tests)} ORDER BY site_id, exam_at, exam_key"
        return self._rows(EXAMS, tail, params)

    def months_with_exams(self) -> list[date]:
        """Months that hold an exam, or held one before it was corrected, in order."""
        return self._first_column("SELECT DISTINCT month FROM exams ORDER BY month")

    def months_touched_since(self, known_at: datetime) -> list[date]:
        """Months whose exams changed after the newest refresh that was done by `known_at`.

        An exam that moved to another month touches both. The order of the transactions decides,
        not the clock; where there was no such refresh, every month counts as touched.
        """
        return self._first_column(
            f"SELECT DISTINCT month FROM exams WHERE exam_key IN ({TOUCHED_EXAMS}) ORDER BY month",
            [known_at] * 2,
        )

    def files(self) -> pl.DataFrame:
        """FILES: every reading and every refusal, in the order that they happened."""
        return self._rows(FILES, "files ORDER BY file_seq")

    def quarantined(self) -> pl.DataFrame:
        """QUARANTINED: rows that wait, as the newest reading of their file left them."""
        return self._rows(QUARANTINED, "current_quarantined ORDER BY file_seq, row_no")

    # Refreshes

    def append_refresh(
        self,
        *,
        refresh_id: str,
        refreshed_at: datetime,
        rules_fingerprint: str,
        months: Sequence[date],
        assessments: pl.DataFrame,
        counts: pl.DataFrame,
        grade_counts: pl.DataFrame,
        case_mix: pl.DataFrame | None = None,
        horizon_on: date | None = None,
    ) -> None:
        """Write what was judged and counted; it stands for all of `months` from now on.

        Args:
            months: months that were counted, also those that hold no exam any more.
            horizon_on: last day that was known.
            assessments, counts, grade_counts, case_mix: ASSESSMENTS, MONTHLY_COUNTS,
                GRADE_COUNTS, CASE_MIX_COUNTS.
        """
        with self._transaction():
            [seq] = self._first_column("SELECT coalesce(max(refresh_seq), 0) + 1 FROM refreshes")
            self._con.execute(
                "INSERT INTO refreshes SELECT ?, ?, ?, ?, coalesce(max(file_seq), 0), ? FROM facts",
                [seq, refresh_id, refreshed_at, rules_fingerprint, horizon_on],
            )
            for month in months:
                self._con.execute("INSERT INTO refresh_months VALUES (?, ?)", [seq, month])
            self._insert("assessments", ASSESSMENTS, assessments, refresh_seq=seq)
            self._insert("monthly_counts", MONTHLY_COUNTS, counts, refresh_seq=seq)
            self._insert("grade_counts", GRADE_COUNTS, grade_counts, refresh_seq=seq)
            if case_mix is not None:
                self._insert("case_mix_counts", CASE_MIX_COUNTS, case_mix, refresh_seq=seq)

    def last_refresh(self) -> tuple[datetime, str] | None:
        """When the last refresh was, and by which rules; None where there was none."""
        found = self._query(
            "SELECT refreshed_at, rules_fingerprint FROM refreshes "
            "ORDER BY refresh_seq DESC LIMIT 1"
        ).cast({"refreshed_at": UTC_TIME})
        return found.row(0) if found.height else None

    def monthly_counts(self) -> pl.DataFrame:
        """MONTHLY_COUNTS: of every month, as its newest refresh counted it."""
        return self._rows(MONTHLY_COUNTS, _current_of("monthly_counts", MONTHLY_COUNTS))

    def grade_counts(self) -> pl.DataFrame:
        """GRADE_COUNTS: of every month, as its newest refresh counted it."""
        return self._rows(GRADE_COUNTS, _current_of("grade_counts", GRADE_COUNTS))

    def case_mix_counts(self) -> pl.DataFrame:
        """CASE_MIX_COUNTS: of every month, as its newest refresh counted it."""
        return self._rows(CASE_MIX_COUNTS, _current_of("case_mix_counts", CASE_MIX_COUNTS))

    def assessments(self, months: Sequence[date] | None = None) -> pl.DataFrame:
        """ASSESSMENTS: of every exam, as the newest refresh of its month judged it."""
        test, params = "", list[Any]()
        if months is not None:
            test = "WHERE list_contains(?, month)"
            params.append(list(months))
        return self._rows(ASSESSMENTS, f"current_assessments {test} ORDER BY exam_key", params)

    # Baselines and facts about the warehouse itself

    def baselines(self) -> pl.DataFrame:
        return self._rows(BASELINES, "baselines ORDER BY baseline_id")

    def append_baselines(self, frame: pl.DataFrame) -> None:
        with self._transaction():
            self._insert("baselines", BASELINES, frame)

    def meta(self, key: str) -> str | None:
        """The newest value of a fact, for example the key's fingerprint; None where unknown."""
        values = self._first_column(
            "SELECT value FROM meta WHERE key = ? ORDER BY meta_seq DESC LIMIT 1", [key]
        )
        return values[0] if values else None

    def set_meta(self, key: str, value: str) -> None:
        self._con.execute(
            "INSERT INTO meta SELECT coalesce(max(meta_seq), 0) + 1, ?, ? FROM meta", [key, value]
        )


def _current_of(table: str, schema: Schema) -> str:
    order = ", ".join(f'"{name}"' for name in schema.key)
    return f"{table} SEMI JOIN current_months USING (month, refresh_seq) ORDER BY {order}"
