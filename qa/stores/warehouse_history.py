"""What the warehouse says about time: withdrawals, closed months, restatements, neighbours."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any

import polars as pl

from qa.model.schemas import EXAMS, MONTH_CLOSES, UTC_TIME, WITHDRAWALS
from qa.stores.warehouse import Warehouse
from qa.stores.warehouse_tables import TOUCHED_EXAMS

NEAREST = 3
"""Exams of a patient fetched on each side of the months asked for: tries that were started again
stand between an exam and the one before it, and more than two in a row across midnight do not
happen."""

_RESTATED: dict[str, Any] = {
    "site_id": pl.String,
    "month": pl.Date,
    "n_came_later": pl.Int64,
    "n_changed_later": pl.Int64,
    "n_left_later": pl.Int64,
}
_DAILY: dict[str, Any] = {
    "site_id": pl.String,
    "exam_on": pl.Date,
    "n": pl.Int64,
    "n_retracted": pl.Int64,
    "first_in_at": UTC_TIME,
}
RESTATED, DAILY = pl.Schema(_RESTATED), pl.Schema(_DAILY)


# Decisions


def withdrawals(warehouse: Warehouse) -> pl.DataFrame:
    """WITHDRAWALS: every decision, in the order that they were taken."""
    return warehouse._rows(WITHDRAWALS, "withdrawals ORDER BY file_seq")


def withdrawn_files(warehouse: Warehouse) -> set[tuple[str, str | None]]:
    """Files that do not count now, each with the site under which it was read."""
    return set(warehouse._query("SELECT file_id, site_id FROM withdrawn_files").rows())


def append_withdrawal(warehouse: Warehouse, row: pl.DataFrame) -> None:
    """Write one decision of WITHDRAWALS as the newest fact."""
    with warehouse._transaction():
        warehouse._insert("withdrawals", WITHDRAWALS, row, file_seq=warehouse._next_seq())


def count_of_file(warehouse: Warehouse, file_id: str, site_id: str | None) -> tuple[int, int]:
    """Exams that a file of a site gave a version of, or held unchanged; how many stand now."""
    rows = warehouse._con.sql(
        """WITH reading AS (SELECT file_seq FROM files
                WHERE file_id = ? AND site_id IS NOT DISTINCT FROM ?),
            own AS (SELECT exam_key FROM exams SEMI JOIN reading USING (file_seq)
                    UNION SELECT exam_key FROM sightings SEMI JOIN reading USING (file_seq))
        SELECT count(*), count(*) FILTER (exam_key IN (
            SELECT exam_key FROM current_exams WHERE NOT is_retracted)) FROM own""",
        params=[file_id, site_id],
    ).fetchall()
    return int(rows[0][0]), int(rows[0][1])


def month_closes(warehouse: Warehouse) -> pl.DataFrame:
    """MONTH_CLOSES, by month."""
    return warehouse._rows(MONTH_CLOSES, "month_closes ORDER BY month")


def append_month_close(warehouse: Warehouse, row: pl.DataFrame) -> None:
    """Write one row of MONTH_CLOSES; what is written after it restates the month."""
    with warehouse._transaction():
        warehouse._insert("month_closes", MONTH_CLOSES, row, file_seq=warehouse._next_seq())


# Counts of what came in


def daily_arrivals(warehouse: Warehouse) -> pl.DataFrame:
    """One row per site and day with current exams: how many, how many cancelled, since when."""
    return warehouse._query(
        """SELECT site_id, exam_on, count(*) FILTER (NOT is_retracted) AS n,
            count(*) FILTER (is_retracted) AS n_retracted, min(known_at) AS first_in_at
        FROM current_exams GROUP BY site_id, exam_on ORDER BY site_id, exam_on"""
    ).cast(DAILY)


def restatements(warehouse: Warehouse) -> pl.DataFrame:
    """One row per site and closed month that changed after it was closed; RESTATED.

    An exam is counted once, by what it was when the month was closed and what it is now: it came
    in later, it was changed, or it left (cancelled, withdrawn with its file, moved elsewhere).
    """
    parts = [
        _restated(warehouse, month, seq)
        for month, seq in warehouse._con.sql("SELECT month, file_seq FROM month_closes").fetchall()
    ]
    return pl.concat([pl.DataFrame(schema=RESTATED), *parts]).sort("month", "site_id")


def _restated(warehouse: Warehouse, month: date, seq: int) -> pl.DataFrame:
    touched = """SELECT exam_key FROM exams WHERE file_seq > $seq
        UNION SELECT exam_key FROM exams SEMI JOIN (
            SELECT file_id FROM withdrawals WHERE file_seq > $seq) USING (file_id)"""

    def of_month(exams: str) -> str:
        return f"""(SELECT exam_key, row_hash, site_id FROM {exams}
            WHERE month = $month AND NOT is_retracted AND exam_key IN ({touched}))"""

    return (
        warehouse._con.sql(
            f"""SELECT site_id, CAST($month AS DATE) AS month,
            count(*) FILTER (was IS NULL) AS n_came_later,
            count(*) FILTER (was <> became) AS n_changed_later,
            count(*) FILTER (became IS NULL) AS n_left_later
        FROM (SELECT coalesce(closed.site_id, known.site_id) AS site_id,
                  closed.row_hash AS was, known.row_hash AS became
              FROM {of_month(current_exams_at("file_seq <= $seq"))} AS closed
              FULL JOIN {of_month("current_exams")} AS known USING (exam_key))
        WHERE was IS DISTINCT FROM became GROUP BY site_id""",
            params={"seq": seq, "month": month},
        )
        .pl()
        .cast(RESTATED)
    )


def current_exams_at(condition: str) -> str:
    """SQL of the exams that were current when only the facts with this condition were there."""
    gone = f"""(SELECT file_seq FROM files SEMI JOIN (
            SELECT file_id, site_id FROM withdrawals WHERE {condition} GROUP BY file_id, site_id
            HAVING arg_max(is_withdrawn, file_seq)) AS gone ON gone.file_id = files.file_id
        AND gone.site_id IS NOT DISTINCT FROM files.site_id)"""
    standing = f"""(SELECT * FROM exams WHERE {condition} AND (file_seq NOT IN {gone}
        OR (exam_key, version_no) IN (SELECT (exam_key, version_no) FROM sightings
            WHERE {condition} AND file_seq NOT IN {gone})))"""
    return f"""(SELECT * FROM {standing} AS one WHERE NOT EXISTS (
        SELECT 1 FROM {standing} AS newer WHERE newer.exam_key = one.exam_key
        AND newer.version_no > one.version_no))"""


# Neighbours in time, for repeats


def newest_exam_on(warehouse: Warehouse) -> date | None:
    """Day of the newest current exam; None without any."""
    [day] = warehouse._first_column("SELECT max(exam_on) FROM current_exams WHERE NOT is_retracted")
    return day


def last_horizon_on(warehouse: Warehouse) -> date | None:
    """Last day that was known at the newest refresh."""
    days = warehouse._first_column(
        "SELECT horizon_on FROM refreshes ORDER BY refresh_seq DESC LIMIT 1"
    )
    return days[0] if days else None


def exams_around(
    warehouse: Warehouse, months: Sequence[date], *, window_days: int, columns: Sequence[str]
) -> pl.DataFrame:
    """These columns of EXAMS, of the patients of some months, outside these months: what repeats
    look at.

    Before the first month the nearest exams of each patient, whenever they were; between the
    months all; after the last month the nearest within the window. Not more of anybody, so a
    month costs its own patients.
    """
    last = max(months)
    after = date(last.year + last.month // 12, last.month % 12 + 1, 1)
    names = ", ".join(f'"{name}"' for name in columns)
    rows = warehouse._query(
        f"""WITH around AS (
            SELECT {names}, exam_on < $first AS is_before, exam_on >= $after AS is_after
            FROM current_exams SEMI JOIN (
                SELECT patient_key FROM current_exams
                WHERE list_contains($months, month) AND NOT is_retracted) USING (patient_key)
            WHERE NOT is_retracted AND NOT list_contains($months, month) AND exam_on < $end)
        SELECT {names} FROM around QUALIFY NOT (is_before OR is_after) OR row_number() OVER (
            PARTITION BY patient_key, performed = 'performed', is_before
            ORDER BY CASE WHEN is_before THEN -epoch_us(exam_at) ELSE epoch_us(exam_at) END,
                CASE WHEN is_before THEN exam_key END DESC, exam_key) <= {NEAREST}
        ORDER BY exam_key""",
        {
            "first": min(months),
            "after": after,
            "end": after + timedelta(days=window_days + 1),
            "months": list(months),
        },
    )
    types = EXAMS.to_polars()
    return rows.cast({name: types[name] for name in columns})


def months_beside_touched(
    warehouse: Warehouse, known_at: datetime, *, window_days: int
) -> list[date]:
    """Months of the exams just after, and just before within the window, of every exam that
    changed after the newest refresh by `known_at`: their kind of repeat may have changed."""
    return warehouse._first_column(
        f"""WITH touched AS (SELECT DISTINCT patient_key, exam_at FROM exams
                WHERE exam_key IN ({TOUCHED_EXAMS})),
        near AS (SELECT patient_key, touched.exam_at AS touched_at, exam.exam_at, exam.month
            FROM touched JOIN current_exams AS exam USING (patient_key)
            WHERE exam.performed = 'performed' AND NOT exam.is_retracted)
        SELECT DISTINCT month FROM (
            SELECT arg_min(month, exam_at) AS month FROM near WHERE exam_at > touched_at
            GROUP BY patient_key, touched_at
            UNION ALL
            SELECT arg_max(month, exam_at) FROM near WHERE exam_at < touched_at
            AND exam_at >= touched_at - to_days(?) GROUP BY patient_key, touched_at)
        ORDER BY month""",
        [known_at, known_at, window_days + 1],
    )
