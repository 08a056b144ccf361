"""Dates and times: no guess about order, offset or the hour that the clock skipped.

Daylight-saving dates: the EU changes at 01:00 UTC on the last Sundays of March and October
(Directive 2000/84/EC): 29 March and 25 October 2026; checked against Python's zoneinfo.
"""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from qa.model.definitions import ColumnMap
from tests.unit.intake.invented import codes_of, mapped, profile


def with_format(date_format: str | None, **more) -> object:
    return profile(ColumnMap("exam_at", ("Date",), date_format=date_format, **more))


def berlin(*parts: int, fold: int = 0) -> datetime:
    return datetime(*parts, tzinfo=ZoneInfo("Europe/Berlin"), fold=fold).astimezone(UTC)


@pytest.mark.parametrize(
    ("date_format", "text", "expected"),
    [
        ("%d.%m.%Y %H:%M", "05.03.2026 14:20", berlin(2026, 3, 5, 14, 20)),
        ("%d.%m.%Y %H:%M", "05.07.2026 14:20", berlin(2026, 7, 5, 14, 20)),
        ("%m/%d/%Y %I:%M %p", "03/05/2026 02:20 PM", berlin(2026, 3, 5, 14, 20)),
        ("%d.%m.%Y", "05.03.2026", berlin(2026, 3, 5, 12, 0)),
        ("%Y-%m-%d %H:%M %z", "2026-03-05 14:20 +0300", datetime(2026, 3, 5, 11, 20, tzinfo=UTC)),
        (None, "2026-03-05T14:20:00+01:00", berlin(2026, 3, 5, 14, 20)),
        (None, "2026-03-05T13:20:00.5Z", berlin(2026, 3, 5, 14, 20, 0, 500_000)),
        (None, "2026-03-05 14:20-05:00", datetime(2026, 3, 5, 19, 20, tzinfo=UTC)),
        (None, "2026-03-05T14:20:31", berlin(2026, 3, 5, 14, 20, 31)),
        (None, "2026-03-05 14:20", berlin(2026, 3, 5, 14, 20)),
        (None, "2026-03-05", berlin(2026, 3, 5, 12, 0)),
    ],
)
def test_map_rows_reads_times(date_format: str | None, text: str, expected: datetime):
    rows = mapped({"Date": text}, by=with_format(date_format))
    assert rows["exam_at"].to_list() == [expected]


@pytest.mark.parametrize(
    ("date_format", "text", "code"),
    [
        ("%d.%m.%Y %H:%M", "31.02.2026 10:00", "CHK-006"),
        ("%d.%m.%Y %H:%M", "05.03.2026", "CHK-006"),
        ("%d.%m.%Y", "05.03.2026 10:00", "CHK-006"),
        ("%d.%m.%Y %H:%M", "2026-03-05 10:00", "CHK-006"),
        (None, "2026-02-30", "CHK-006"),
        (None, "5 March 2026", "CHK-006"),
        (None, "46086", "CHK-006"),
        (None, "03/04/2026", "CHK-007"),
        (None, "13.04.2026 10:00", "CHK-007"),
        (None, "03-04-26", "CHK-007"),
        ("%d.%m.%y %H:%M", "05.03.99 10:00", "CHK-011"),
        ("%d.%m.%Y %H:%M", "29.03.2026 02:30", "CHK-008"),
        ("%d.%m.%Y %H:%M", "29.03.2026 01:59", None),
        ("%d.%m.%Y %H:%M", "29.03.2026 03:00", None),
        ("%d.%m.%Y %H:%M", "25.10.2026 02:30", "CHK-009"),
        ("%d.%m.%Y %H:%M", "25.10.2026 01:59", None),
        ("%d.%m.%Y %H:%M", "25.10.2026 03:00", None),
        (None, "2026-10-25T02:30:00+01:00", None),
        ("%d.%m.%Y %H:%M", "05.11.2026 09:00", None),
        ("%d.%m.%Y %H:%M", "05.11.2026 09:01", "CHK-010"),
        ("%d.%m.%Y", "05.11.2026", None),
        ("%d.%m.%Y", "06.11.2026", "CHK-010"),
        ("%d.%m.%Y", "01.01.2000", None),
        ("%d.%m.%Y", "31.12.1999", "CHK-011"),
    ],
)
def test_time_checks(date_format: str | None, text: str, code: str | None):
    """The file is read on 5 November 2026 at 09:00 in Berlin."""
    assert codes_of({"Date": text}, by=with_format(date_format)) == ([code] if code else [])


def test_time_order_is_doubted_where_another_row_fits_only_the_other_way():
    """04/13 shows that the file writes the month first, so 03/04 was not what it seemed."""
    rows = [{"Date": text} for text in ("03/04/2026", "04/13/2026", "05/05/2026")]
    numbered = [row | {"Exam": f"E{n}"} for n, row in enumerate(rows)]
    by = with_format("%d/%m/%Y")
    assert codes_of(*numbered, by=by) == ["CHK-007", "CHK-006"]
    assert codes_of(numbered[0], numbered[2], by=by) == []


def test_exam_on_and_month_are_those_of_the_site():
    """23:30 on 31 March in Lima is 1 April in UTC and in Berlin."""
    by = with_format(None)
    text = {"Date": "2026-04-01T04:30:00Z"}
    west, east = mapped(text, by=by, site="west"), mapped(text, by=by, site="east")
    assert west.select("exam_on", "month").row(0) == (date(2026, 3, 31), date(2026, 3, 1))
    assert east.select("exam_on", "month").row(0) == (date(2026, 4, 1), date(2026, 4, 1))


def test_nominal_dates_are_marked():
    by = with_format("%d.%m.%Y", is_nominal=True)
    assert mapped({"Date": "01.11.2025"}, by=by)["is_date_nominal"].to_list() == [True]
    assert mapped({})["is_date_nominal"].to_list() == [False]
