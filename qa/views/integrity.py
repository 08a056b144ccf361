"""Data that are too good: what is asked about whom, and how far that can be believed."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from qa.followup.integrity_questions import ReleasedQuestion
from qa.model.integrity import (
    CHECK_OF_CODE,
    CHECKS,
    STATED_FALSE_SHARE,
    IntegrityState,
)
from qa.model.months import month_name
from qa.model.published import Published
from qa.views.names import unit_names

INTRODUCTION = (
    "These are questions, no findings: each has honest answers, and they come first. Look at the "
    "exams, ask, and release a question only when its site is to read it."
)


@dataclass(frozen=True)
class Question:
    """One question. innocent: honest reasons to think of first. released_text: "": it is not."""

    question_id: str
    check_id: str
    title: str
    unit_kind: str
    unit_id: str
    site_id: str | None
    name: str
    site_name: str
    to_month: str
    words: str
    innocent: str
    released_text: str = ""


@dataclass(frozen=True)
class IntegrityView:
    """The section on the Operators screen.

    Args:
        sees_all: the reader sees questions that were not released.
        checks: of each check its code, title, what it asked, and how often it could not tell.
    """

    answer: str
    note: str
    questions: tuple[Question, ...]
    sees_all: bool
    checks: tuple[tuple[str, str, str, str, str], ...] = ()


def question_id_of(row: dict[str, Any]) -> str:
    """Example: INT-001-operator-op-24-2026-09"""
    return f"{row['check_id']}-{row['unit_kind']}-{row['unit_id']}-{row['to_month']:%Y-%m}"


def questions_asked(published: Published) -> list[Question]:
    """What the snapshot asks, operators before the sites they belong to, by check."""
    rows = published.frame("integrity", state=IntegrityState.ASKED.value)
    names = unit_names(published.network)
    sites = {site.id: site.name for site in published.network.sites}
    return [
        Question(
            question_id=question_id_of(row),
            check_id=row["check_id"],
            title=CHECK_OF_CODE[row["check_id"]].title,
            unit_kind=row["unit_kind"],
            unit_id=row["unit_id"],
            site_id=row["site_id"],
            name=names.get((row["unit_kind"], row["unit_id"]), row["unit_id"]),
            site_name=sites.get(row["site_id"], "several sites"),
            to_month=f"{row['to_month']:%Y-%m}",
            words=row["words"],
            innocent=CHECK_OF_CODE[row["check_id"]].innocent,
        )
        for row in rows.iter_rows(named=True)
    ]


def integrity_view(
    published: Published, released: Sequence[ReleasedQuestion], *, sees_all: bool
) -> IntegrityView:
    """Args: released: those that the reader may see. sees_all: also what is not released."""
    told = {one.question_id: one for one in released}
    asked = questions_asked(published) if sees_all else []
    known = {one.question_id for one in asked}
    open_now = [_with_release(one, told.get(one.question_id)) for one in asked]
    earlier = [_of_record(published, one) for one in released if one.question_id not in known]
    questions = (*open_now, *earlier)
    return IntegrityView(
        answer=_answer(len(questions)),
        note=_note(published, sees_all=sees_all),
        questions=questions,
        sees_all=sees_all,
        checks=_checks(published) if sees_all else (),
    )


def _answer(n: int) -> str:
    if not n:
        return "No question about the data."
    return "One question about the data." if n == 1 else f"{n} questions about the data."


def _note(published: Published, *, sees_all: bool) -> str:
    if not sees_all:
        return "The QA manager released these questions to your site. Each has honest answers."
    rows = published.frame("integrity")
    if not rows.height:
        return f"{INTRODUCTION} This snapshot holds no checks of this kind."
    first, last = rows["from_month"][0], rows["to_month"][0]
    return (
        f"{INTRODUCTION} Exams from {month_name(first)} to {month_name(last)}. Of a hundred honest "
        f"networks a check asks at most {STATED_FALSE_SHARE * 100:.0f} about any of their sites, "
        "and as many about any of their operators (by simulation)."
    )


def _with_release(one: Question, record: ReleasedQuestion | None) -> Question:
    return Question(**{**one.__dict__, "released_text": _released_text(record)})


def _released_text(record: ReleasedQuestion | None) -> str:
    if record is None:
        return ""
    return f"released by {record.by} on {record.at[:10]}: {record.why}"


def _of_record(published: Published, record: ReleasedQuestion) -> Question:
    names = unit_names(published.network)
    sites = {site.id: site.name for site in published.network.sites}
    check = CHECK_OF_CODE[record.check_id]
    return Question(
        question_id=record.question_id,
        check_id=record.check_id,
        title=check.title,
        unit_kind=record.unit_kind,
        unit_id=record.unit_id,
        site_id=record.site_id,
        name=names.get((record.unit_kind, record.unit_id), record.unit_id),
        site_name=sites.get(record.site_id or "", "several sites"),
        to_month=record.to_month,
        words=record.words,
        innocent=check.innocent,
        released_text=_released_text(record),
    )


def _checks(published: Published) -> tuple[tuple[str, str, str, str, str], ...]:
    """Code, title, units asked of units judged, units that could not be judged, method."""
    states = published.frame("integrity").group_by("check_id", "state").len()
    count = {(code, state): n for code, state, n in states.iter_rows()}
    rows = []
    for check in CHECKS:
        asked = count.get((check.code, IntegrityState.ASKED), 0)
        passed = count.get((check.code, IntegrityState.NOT_ASKED), 0)
        few = count.get((check.code, IntegrityState.TOO_FEW), 0)
        untold = count.get((check.code, IntegrityState.CANNOT_TELL), 0)
        rows.append(
            (
                check.code,
                check.title,
                f"{asked} of {asked + passed}",
                f"{few} too few, {untold} cannot tell",
                check.method,
            )
        )
    return tuple(rows)
