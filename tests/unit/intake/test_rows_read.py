"""Rows read and held back by month, also where the fault is the date itself."""

from datetime import UTC, date, datetime

import polars as pl

from qa.intake.rows_read import count_rows_read
from qa.model.schemas import UTC_TIME

SEP, OCT, NOV = date(2026, 9, 1), date(2026, 10, 1), date(2026, 11, 1)
READ_AT = datetime(2026, 11, 5, 8, 0, tzinfo=UTC)


def counted(rows: list[tuple[int, str | None, date | None, bool]]) -> list[tuple]:
    """(file, site, day, is held) of each row → (file, site, month, rows, held)."""
    frame = pl.DataFrame(
        [(file, no, site, day, READ_AT) for no, (file, site, day, _) in enumerate(rows)],
        schema={
            "file_no": pl.UInt32,
            "row_no": pl.Int32,
            "site_id": pl.String,
            "exam_on": pl.Date,
            "known_at": UTC_TIME,
        },
        orient="row",
    )
    held = frame.filter(pl.Series([is_held for *_, is_held in rows], dtype=pl.Boolean))
    return count_rows_read(frame, held.select("file_no", "row_no")).rows()


def test_count_rows_read_by_month_of_the_exam():
    rows = [(0, "a", OCT, False), (0, "a", OCT.replace(day=31), True), (0, "a", SEP, False)]
    assert counted(rows) == [(0, "a", SEP, 1, 0), (0, "a", OCT, 2, 1)]


def test_count_rows_read_unreadable_future_and_ancient_dates_go_with_most_rows():
    odd = [None, date(2027, 3, 5), date(1974, 3, 5)]
    rows = [(0, "a", SEP, False), (0, "a", OCT, False), (0, "a", OCT, False)]
    rows += [(0, "a", day, True) for day in odd]
    assert counted(rows) == [(0, "a", SEP, 1, 0), (0, "a", OCT, 5, 3)]


def test_count_rows_read_draw_goes_to_the_earlier_month():
    rows = [(0, "a", OCT, False), (0, "a", SEP, False), (0, "a", None, True)]
    assert counted(rows) == [(0, "a", SEP, 2, 1), (0, "a", OCT, 1, 0)]


def test_count_rows_read_without_any_date_goes_to_the_month_of_reading():
    assert counted([(0, "a", None, True)]) == [(0, "a", NOV, 1, 1)]


def test_count_rows_read_row_of_no_site_goes_with_its_file():
    rows = [(0, "a", OCT, False), (0, None, None, True), (1, "b", SEP, False)]
    assert counted(rows) == [(0, None, OCT, 1, 1), (0, "a", OCT, 1, 0), (1, "b", SEP, 1, 0)]


def test_count_rows_read_every_row_is_counted_once():
    rows = [(n % 3, "ab"[n % 2], [SEP, None, OCT][n % 3], n % 4 == 0) for n in range(40)]
    found = counted(rows)
    assert sum(row[3] for row in found) == 40
    assert sum(row[4] for row in found) == 10


def test_count_rows_read_nothing_gives_nothing():
    assert counted([]) == []
