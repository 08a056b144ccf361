"""What makes a repeat: each kind just inside and just outside its window.

Source: proposal of this tool, on published grounds: two measurements on different days before a
high value is believed (Baveno VI, read second-hand); a flare is waited for at least six months
(Fung), alcohol at least a week (EASL 2021, read second-hand); restarts leave duplicates in survey
files (NHANES, read in the source).
"""

from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

from qa.counts import count_months
from qa.model.definitions import Settings
from tests.exam_tables import day, exams_of, judge

POOR = {"n_valid": 4}
FAILED = {"n_valid": 0, "stiffness_value": None, "stiffness_iqr": None, "stiffness_unit": None}
GOOD = {"stiffness_value": 8.0}
NOT_STARTED = {"performed": "ineligible", "n_valid": None, "stiffness_value": None}


def pair(first: dict, second: dict, *, days: int = 0, minutes: int = 0, **more) -> pl.DataFrame:
    start = datetime(2026, 1, 1, 9, tzinfo=UTC)
    later = start + timedelta(days=days, minutes=minutes)
    rows = [
        {"exam_key": "a", "exam_at": start, "exam_on": start.date()} | first,
        {"exam_key": "b", "exam_at": later, "exam_on": later.date()} | second,
    ]
    return exams_of(rows, patient_key="ann", **more)


def kinds(exams: pl.DataFrame, **more) -> list[tuple]:
    found = judge(exams, **more).select("repeat_kind", "is_repeat_inferred", "is_repeat")
    return found.rows()


NOTHING = (None, False, False)


@pytest.mark.parametrize(
    ("first", "second", "gap", "expected"),
    [
        (POOR, GOOD, {"minutes": 90}, ("same-session repeat", True, True)),
        (FAILED, GOOD, {"minutes": 31}, ("same-session repeat", True, True)),
        (POOR, GOOD, {"days": 1}, ("recall", True, True)),
        (POOR, GOOD, {"days": 90}, ("recall", True, True)),
        (POOR, GOOD, {"days": 91}, NOTHING),
        (POOR, GOOD, {"days": 180}, NOTHING),
        (POOR, GOOD, {"days": 181}, ("follow-up", True, False)),
        (GOOD, GOOD, {"minutes": 90}, NOTHING),
        (GOOD, POOR, {"days": 1}, ("confirmation", True, False)),
        (GOOD, POOR, {"days": 180}, ("confirmation", True, False)),
        (GOOD, POOR, {"days": 181}, ("follow-up", True, False)),
        (NOT_STARTED, GOOD, {"days": 6}, NOTHING),
        (NOT_STARTED, GOOD, {"days": 7}, ("deferred", True, False)),
        ({**NOT_STARTED, "performed": "refused"}, GOOD, {"days": 7}, NOTHING),
    ],
)
def test_kind_is_found_from_dates(first: dict, second: dict, gap: dict, expected: tuple) -> None:
    assert kinds(pair(first, second, **gap)) == [NOTHING, expected]


@pytest.mark.parametrize(
    ("declared", "kind", "is_repeat"),
    [
        ("recall", "recall", True),
        ("follow-up", "follow-up", False),
        ("confirmation", "confirmation", False),
        ("deferred", "deferred", False),
    ],
)
@pytest.mark.parametrize("days", [1, 60])
def test_declared_kind_wins_over_dates(declared: str, kind: str, is_repeat: bool, days: int):
    exams = pair(POOR, {**GOOD, "order_type": declared}, days=days)
    assert kinds(exams)[1] == (kind, False, is_repeat)


def test_declared_recall_after_a_reliable_exam_is_a_recall_but_no_repeat() -> None:
    """What the person was called back for lies outside the network or in the preparation."""
    assert kinds(pair(GOOD, {**GOOD, "order_type": "recall"}, days=10))[1] == (
        "recall",
        False,
        False,
    )


@pytest.mark.parametrize(
    ("change", "minutes", "is_restart"),
    [
        ({}, 30, True),
        ({}, 31, False),
        ({"probe": "large-patient"}, 10, True),
        ({"device_id": "dev-2"}, 10, False),
    ],
)
def test_restart_is_part_of_the_exam_that_follows(
    change: dict, minutes: int, is_restart: bool
) -> None:
    found = kinds(pair(FAILED, {**GOOD, **change}, minutes=minutes))
    if is_restart:
        assert found == [("restart", True, False), NOTHING]
    else:
        assert found == [NOTHING, ("same-session repeat", True, True)]


def test_same_figures_on_the_same_device_within_minutes_are_one_exam() -> None:
    assert kinds(pair(POOR, POOR, minutes=5)) == [("restart", True, False), NOTHING]
    assert kinds(pair(POOR, {**POOR, "stiffness_iqr": 0.6}, minutes=5))[1][0] == (
        "same-session repeat"
    )


def test_exam_after_a_restart_keeps_its_own_kind() -> None:
    """Called back after twenty days, started twice: one recall."""
    at = datetime(2026, 1, 21, 9, tzinfo=UTC)
    rows = [
        {"exam_key": "a", **POOR, "exam_on": day(0)},
        {"exam_key": "b", **FAILED, "exam_on": day(20), "exam_at": at},
        {"exam_key": "c", **GOOD, "exam_on": day(20), "exam_at": at + timedelta(minutes=9)},
    ]
    exams = exams_of(rows, patient_key="ann")
    assert [kind for kind, _, _ in kinds(exams)] == [None, "restart", "recall"]
    counts = count_months(exams, judge(exams)).select(pl.col("^n_.*$", "sum_attempted").sum())
    found = counts.select("n_exams", "n_failed", "n_restarted", "n_recalls", "sum_attempted")
    assert found.row(0) == (2, 0, 1, 1, 30)


def test_another_site_is_the_same_patient() -> None:
    exams = pair({**POOR, "site_id": "north"}, {**GOOD, "site_id": "south"}, days=3)
    assert kinds(exams)[1] == ("recall", True, True)


def test_windows_are_settings() -> None:
    exams = pair(POOR, GOOD, days=40)
    assert kinds(exams, settings=Settings(repeat_window_days=39))[1] == NOTHING
    assert kinds(exams, settings=Settings(repeat_window_days=40))[1][0] == "recall"


@pytest.mark.parametrize(
    ("days", "horizon", "expected"),
    [
        (90, 90, True),
        (91, 91, False),
        (30, 89, None),
        (30, 90, True),
    ],
)
def test_never_repeated_is_told_only_when_the_window_is_over(
    days: int, horizon: int, expected: bool | None
) -> None:
    """2026-01-01 to 2026-04-01 is 90 days."""
    found = judge(pair(POOR, GOOD, days=days), horizon_on=date(2026, 1, 1) + timedelta(horizon))
    assert found["is_repeated"].to_list() == [expected, None]


def test_first_pass_and_final_are_counted_apart() -> None:
    """Two exams on one day: the first not reliable, the second reliable."""
    exams = pair(POOR, GOOD, minutes=60)
    counts = count_months(exams, judge(exams)).row(0, named=True)
    assert (counts["n_judged"], counts["n_reliable"]) == (2, 1)
    assert (counts["n_first_pass_judged"], counts["n_first_pass_reliable"]) == (1, 0)
    assert (counts["n_final_judged"], counts["n_final_reliable"]) == (1, 1)
