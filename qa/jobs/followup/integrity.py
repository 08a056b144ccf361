"""Questions of the integrity checks: who sees them, releasing one, taking it back."""

from datetime import datetime

from qa.followup.integrity_questions import (
    QUESTION,
    ReleasedQuestion,
    release_question,
    take_question_back,
)
from qa.jobs.followup.opening import change_record, load_records, no_such_record
from qa.model.permissions import Actor, Permission, may, require
from qa.model.published import Published
from qa.stores.followup.store import FollowupStore
from qa.views.integrity import IntegrityView, Question, integrity_view, questions_asked


def seen_questions(
    store: FollowupStore, *, actor: Actor | None, published: Published
) -> IntegrityView | None:
    """What somebody may see: all with the permission, else released ones of own sites.

    Returns: None where this account sees no operators by name, so also no question about them.
    """
    if actor is None or not actor.reaches(Permission.SEE_OPERATORS):
        return None
    sees_all = may(actor, Permission.SEE_INTEGRITY)
    released = [
        one
        for one in released_questions(store)
        if sees_all or may(actor, Permission.SEE_OPERATORS, site_id=one.site_id)
    ]
    return integrity_view(published, released, sees_all=sees_all)


def released_questions(store: FollowupStore) -> list[ReleasedQuestion]:
    """Those that are released now, in the order in which they first were."""
    with store.reading() as reading:
        return [one for one in load_records(reading, QUESTION) if one.is_released]


def release(
    store: FollowupStore,
    question_id: str,
    *,
    why: str,
    published: Published,
    actor: Actor | None,
    at: datetime,
) -> ReleasedQuestion:
    """Let the site of a question read it.

    Raises: AccessRefused; FollowupError FUP-014 when the snapshot does not ask it, FUP-090 when it
        is released already, FUP-011 to FUP-013 for the reason.
    """
    actor = require(actor, Permission.RELEASE_INTEGRITY)
    asked = _find(published, question_id)
    told: dict[str, str | None] = {
        "check_id": asked.check_id,
        "unit_kind": asked.unit_kind,
        "unit_id": asked.unit_id,
        "site_id": asked.site_id,
        "to_month": asked.to_month,
        "snapshot_id": published.snapshot_id,
        "words": asked.words,
    }
    with store.writing() as writing:
        return change_record(
            writing,
            QUESTION,
            question_id,
            lambda one: release_question(one, told=told, why=why),
            by=actor.user_id,
            at=at,
        )


def one_question(
    store: FollowupStore, question_id: str, *, actor: Actor | None, published: Published
) -> Question:
    """Raises: AccessRefused; FollowupError FUP-014 when there is none, asked now or released."""
    actor = require(actor, Permission.RELEASE_INTEGRITY)
    view = seen_questions(store, actor=actor, published=published)
    for one in view.questions if view else ():
        if one.question_id == question_id:
            return one
    raise no_such_record(QUESTION, question_id)


def question_lines(view: IntegrityView | None) -> list[str]:
    """Questions for the command line: id, unit, words, what to think of first, released or not."""
    if view is None:
        return ["This account sees no questions."]
    lines = [view.answer, view.note]
    for one in view.questions:
        lines += [
            f"{one.question_id}  {one.name}, {one.site_name}: {one.words}",
            f"  Think first of: {one.innocent}",
            f"  {one.released_text or 'not released'}",
        ]
    return lines


def _find(published: Published, question_id: str) -> Question:
    found = [one for one in questions_asked(published) if one.question_id == question_id]
    if not found:
        raise no_such_record(QUESTION, question_id)
    return found[0]


def take_back(
    store: FollowupStore, question_id: str, *, why: str, actor: Actor | None, at: datetime
) -> ReleasedQuestion:
    """Show a question no more. Raises: AccessRefused; FollowupError FUP-014, FUP-011 to FUP-013."""
    actor = require(actor, Permission.RELEASE_INTEGRITY)
    with store.writing() as writing:
        return change_record(
            writing,
            QUESTION,
            question_id,
            lambda one: take_question_back(one, why=why),
            by=actor.user_id,
            at=at,
        )
