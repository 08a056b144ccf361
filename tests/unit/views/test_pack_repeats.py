"""Exams that were not reliable, and how many were repeated within the window."""

from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

from qa.views.pack_repeats import followed_up
from tests.pages.sample_published import SamplePublished, sample_published

OCTOBER = date(2026, 10, 1)
JULY_3 = datetime(2026, 7, 3, 9, tzinfo=UTC)


def exam(key: str, patient: str, at: datetime, outcome: str, *, is_repeat: bool = False) -> dict:
    row = sample_published().frame("exams", site_id="S3").row(0, named=True)
    return row | {
        "exam_key": key,
        "patient_key": patient,
        "exam_at": at,
        "exam_on": at.date(),
        "month": at.date().replace(day=1),
        "outcome": outcome,
        "is_repeat": is_repeat,
    }


def with_exams(*rows: dict) -> SamplePublished:
    schema = sample_published().frames["exams"].schema
    return sample_published().with_frame("exams", pl.DataFrame(list(rows), schema=schema))


@pytest.mark.parametrize(
    ("days", "n_repeated"), [(1, 1), (90, 1), (91, 0)], ids=["next day", "last day", "day after"]
)
def test_repeat_counts_up_to_the_last_day_of_the_window(days: int, n_repeated: int) -> None:
    later = JULY_3 + timedelta(days=days)
    found = followed_up(
        with_exams(
            exam("a", "p1", JULY_3, "unreliable"),
            exam("b", "p1", later, "reliable", is_repeat=True),
            exam("c", "p2", JULY_3, "reliable"),
        ),
        site_id="S3",
        month=OCTOBER,
    )
    assert (found.month, found.n, found.n_repeated) == (date(2026, 7, 1), 1, n_repeated)


def test_a_later_exam_that_is_no_repeat_does_not_count() -> None:
    found = followed_up(
        with_exams(
            exam("a", "p1", JULY_3, "failed"),
            exam("b", "p1", JULY_3 + timedelta(days=30), "reliable"),
        ),
        site_id="S3",
        month=OCTOBER,
    )
    assert found.sentence == (
        "Of 1 exam of July 2026 that was not reliable, 0 were repeated within 90 days "
        "and 1 was not."
    )


def test_month_before_the_first_exam_is_said() -> None:
    found = followed_up(with_exams(), site_id="S3", month=OCTOBER)
    assert found.sentence == "No past month's window for repeats is over yet."
