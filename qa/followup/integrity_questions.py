"""A question of the integrity checks that was released: by whom, why, and what it said then.

Until then only who may see all questions knows of it. The record holds its words, so that what was
released can be read when a newer snapshot asks something else.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from qa.followup.records import RecordClass, clean_text
from qa.model.errors import FollowupError
from qa.model.record import Event, NewEvent


@dataclass(frozen=True)
class ReleasedQuestion:
    """One question that the unit's site may read. is_released False: it was taken back."""

    question_id: str
    check_id: str
    unit_kind: str
    unit_id: str
    site_id: str | None
    to_month: str
    snapshot_id: str
    words: str
    why: str
    is_released: bool
    by: str
    at: str
    n_events: int = 1


def replay_question(events: Sequence[Event]) -> ReleasedQuestion:
    told = next(one for one in reversed(events) if one.kind == "released").values
    last = events[-1]
    return ReleasedQuestion(
        question_id=last.record_id,
        **{
            name: told[name]
            for name in (
                *("check_id", "unit_kind", "unit_id", "site_id", "to_month"),
                *("snapshot_id", "words"),
            )
        },
        why=last.values["why"],
        is_released=last.kind == "released",
        by=last.by,
        at=last.at,
        n_events=last.no,
    )


def plain_question(one: ReleasedQuestion) -> dict[str, str]:
    return {
        "Question": one.words,
        "Unit": f"{one.unit_kind} {one.unit_id}",
        "Up to": one.to_month,
        "Snapshot": one.snapshot_id,
        "Released": "yes" if one.is_released else "no",
        "Why": one.why,
    }


QUESTION = RecordClass(
    "integrity question", "the integrity question", replay_question, plain_question
)


def release_question(
    one: ReleasedQuestion | None, *, told: dict[str, str | None], why: str
) -> list[NewEvent]:
    """Raises: FollowupError FUP-090 when it is released already; FUP-011 to FUP-013."""
    if one is not None and one.is_released:
        raise FollowupError(
            "it is released already",
            where=one.question_id,
            todo="Nothing was changed",
            code="FUP-090",
        )
    return [NewEvent("released", {**told, "why": clean_text(why, field="why")})]


def take_question_back(one: ReleasedQuestion | None, *, why: str) -> list[NewEvent]:
    """It is shown no more; that it was released stays in the record.

    Raises: FollowupError FUP-014 when it is not released.
    """
    if one is None or not one.is_released:
        raise FollowupError("this question is not released", code="FUP-014")
    return [NewEvent("taken back", {"why": clean_text(why, field="why")})]
