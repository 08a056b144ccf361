"""Kinds of repeats the slow way: exam by exam, each patient's exams in a list."""

from collections.abc import Callable
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

POOR = ("unreliable", "incomplete", "failed")
DECLARED = ("recall", "confirmation", "deferred", "follow-up")
FIGURES = ("stiffness_value", "stiffness_iqr", "n_valid", "n_attempted", "attenuation_value")
Row = dict[str, Any]
Outcome = Callable[[Row], str]
Found = tuple[str | None, bool, bool, bool | None]


def plain_repeats(
    rows: list[Row], *, outcome: Outcome, horizon_on: date | None
) -> dict[str, Found]:
    """exam_key → repeat_kind, is_repeat_inferred, is_repeat, is_repeated, with default windows."""
    found: dict[str, Found] = {row["exam_key"]: (None, False, False, None) for row in rows}
    for patient in {row["patient_key"] for row in rows}:
        own = [row for row in rows if row["patient_key"] == patient]
        own.sort(key=lambda row: (row["exam_at"], row["exam_key"]))
        started = [row for row in own if row["performed"] == "performed"]
        tries = [one for one, then in pairwise(started) if is_restart(one, then, outcome)]
        for row in tries:
            found[row["exam_key"]] = ("restart", True, False, None)
        exams = [row for row in started if row not in tries]
        for place, row in enumerate(exams):
            before = exams[place - 1] if place else None
            after = exams[place + 1] if place + 1 < len(exams) else None
            found[row["exam_key"]] = (
                *kind_of(row, before, own, outcome),
                is_repeat(row, before, outcome),
                was_repeated(row, after, outcome, horizon_on),
            )
    return found


def is_restart(one: Row, then: Row, outcome: Outcome) -> bool:
    gap = then["exam_at"] - one["exam_at"]
    if one["device_id"] != then["device_id"] or gap > timedelta(minutes=30):
        return False
    if outcome(one) == "failed" and one["stiffness_value"] is None:
        return gap > timedelta(0)
    has_figures = then["stiffness_value"] is not None
    return has_figures and all(one[name] == then[name] for name in FIGURES)


def is_repeat(row: Row, before: Row | None, outcome: Outcome) -> bool:
    if before is None or row["order_type"] in ("confirmation", "deferred", "follow-up"):
        return False
    gap = row["exam_at"] - before["exam_at"]
    return outcome(before) in POOR and timedelta(0) < gap <= timedelta(days=90)


def kind_of(
    row: Row, before: Row | None, own: list[Row], outcome: Outcome
) -> tuple[str | None, bool]:
    if row["order_type"] in DECLARED:
        return row["order_type"], False
    if is_repeat(row, before, outcome):
        same_day = row["exam_on"] == before["exam_on"]  # type: ignore[index]
        return ("same-session repeat" if same_day else "recall"), True
    place = own.index(row)
    visit = own[place - 1] if place else None
    was_ineligible = visit is not None and visit["performed"] == "ineligible"
    if was_ineligible and row["exam_at"] - visit["exam_at"] >= timedelta(days=7):
        return "deferred", True
    if before is None or row["exam_at"] == before["exam_at"]:
        return None, False
    gap = row["exam_at"] - before["exam_at"]
    is_other_day = row["exam_on"] != before["exam_on"]
    if is_other_day and gap <= timedelta(days=180) and outcome(before) == "reliable":
        return "confirmation", True
    return ("follow-up", True) if gap > timedelta(days=180) else (None, False)


def was_repeated(
    row: Row, after: Row | None, outcome: Outcome, horizon_on: date | None
) -> bool | None:
    if outcome(row) not in POOR or horizon_on is None:
        return None
    if row["exam_on"] + timedelta(days=90) > horizon_on:
        return None
    return after is not None and is_repeat(after, row, outcome)
