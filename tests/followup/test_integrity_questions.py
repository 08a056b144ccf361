"""Questions about data: the QA manager alone sees them until one is released."""

from datetime import date

import polars as pl
import pytest

from qa.jobs.followup.integrity import one_question, release, seen_questions, take_back
from qa.jobs.followup.trail import verify_trail
from qa.model.errors import AccessRefused, FollowupError
from qa.model.integrity import INTEGRITY
from qa.model.permissions import Actor, Role
from qa.stores.followup.store import FollowupStore
from tests.followup.notes import AT
from tests.pages.sample_published import SamplePublished, sample_published

MANAGER = Actor("maria", "Maria (invented)", (Role.QA_MANAGER,))
LEAD = Actor("lena", "Lena (invented)", (Role.SITE_LEAD,), sites=("S3",))
OTHER_LEAD = Actor("otto", "Otto (invented)", (Role.SITE_LEAD,), sites=("S1",))
REVIEWER = Actor("rita", "Rita (invented)", (Role.REVIEWER,))
OPERATOR = Actor("olga", "Olga (invented)", (Role.OPERATOR,), operator_id="31")
ID = "INT-001-operator-31-2026-09"
WORDS = "9 of 300 exams share all figures. How did this come about?"


def published() -> SamplePublished:
    row = {
        "check_id": "INT-001",
        "unit_kind": "operator",
        "unit_id": "31",
        "site_id": "S3",
        "from_month": date(2025, 10, 1),
        "to_month": date(2026, 9, 1),
        "n": 300,
        "n_found": 9.0,
        "state": "asked",
        "words": WORDS,
    }
    return sample_published().with_frame("integrity", INTEGRITY.conform(pl.DataFrame([row])))


def words_seen(store: FollowupStore, actor: Actor | None) -> list[str] | None:
    view = seen_questions(store, actor=actor, published=published())
    return [one.words for one in view.questions] if view else None


def test_only_the_manager_sees_what_is_not_released(store: FollowupStore) -> None:
    assert words_seen(store, MANAGER) == [WORDS]
    for actor in (LEAD, REVIEWER):
        assert words_seen(store, actor) == []
    for actor in (OPERATOR, None):
        assert words_seen(store, actor) is None


def test_released_question_is_seen_at_its_site_until_taken_back(store: FollowupStore) -> None:
    release(store, ID, why="asked at the visit", published=published(), actor=MANAGER, at=AT)
    assert words_seen(store, LEAD) == words_seen(store, REVIEWER) == [WORDS]
    assert words_seen(store, OTHER_LEAD) == []
    take_back(store, ID, why="answered: a test record", actor=MANAGER, at=AT)
    assert words_seen(store, LEAD) == []
    assert verify_trail(store).is_whole


def test_released_words_outlive_the_snapshot(store: FollowupStore) -> None:
    release(store, ID, why="asked", published=published(), actor=MANAGER, at=AT)
    view = seen_questions(store, actor=LEAD, published=sample_published())
    assert view is not None
    (one,) = view.questions
    assert (one.words, one.released_text) == (WORDS, f"released by maria on {AT:%Y-%m-%d}: asked")


@pytest.mark.parametrize("actor", [LEAD, REVIEWER, OPERATOR, None])
def test_nobody_else_may_release(store: FollowupStore, actor: Actor | None) -> None:
    with pytest.raises(AccessRefused):
        release(store, ID, why="x", published=published(), actor=actor, at=AT)
    with pytest.raises(AccessRefused):
        one_question(store, ID, actor=actor, published=published())


def test_what_does_not_fit_is_refused(store: FollowupStore) -> None:
    told = {"published": published(), "actor": MANAGER, "at": AT}
    for question_id, why, code in (("INT-001-none", "x", "FUP-014"), (ID, " ", "FUP-011")):
        with pytest.raises(FollowupError) as problem:
            release(store, question_id, why=why, **told)
        assert problem.value.code == code
    release(store, ID, why="x", **told)
    with pytest.raises(FollowupError) as problem:
        release(store, ID, why="x", **told)
    assert problem.value.code == "FUP-090"
    with pytest.raises(FollowupError) as problem:
        take_back(store, "INT-002-none", why="x", actor=MANAGER, at=AT)
    assert problem.value.code == "FUP-014"
