"""An operator's file as people keep it: rights, refusals, stale edits, the trail."""

from datetime import date
from typing import Any

import pytest

from qa.jobs.followup.competence import CompetenceDesk
from qa.jobs.followup.trail import verify_trail
from qa.model.errors import AccessRefused, FollowupError
from qa.model.parsing import parse_network
from qa.model.permissions import Actor, Role
from qa.stores.followup.store import FollowupStore
from tests.followup.notes import (
    ADMINISTRATOR,
    AT,
    LEAD,
    MANAGER,
    NETWORK_TEXT,
    OPERATOR,
    OTHER_LEAD,
    REVIEWER,
)

NETWORK = parse_network(NETWORK_TEXT, where="network.toml")
OBSERVED: dict[str, Any] = {"day": date(2026, 11, 2), "observer": "Ada", "is_satisfactory": True}
ALLOWED: dict[str, Any] = {"technique": "TE", "probe": "any", "from_day": date(2026, 11, 4)}


def desk(store: FollowupStore, actor: Actor | None = MANAGER) -> CompetenceDesk:
    return CompetenceDesk(store, NETWORK, actor, AT)


def sign_off(store: FollowupStore, times: int = 3) -> None:
    for _ in range(times):
        desk(store, LEAD).observe("op-1", **OBSERVED)


def test_file_from_training_to_authorisation(store: FollowupStore) -> None:
    lead = desk(store, LEAD)
    lead.train("op-1", day=date(2026, 10, 1), given_by="Ada", words="two-day course")
    lead.observe("op-1", **{**OBSERVED, "is_satisfactory": False}, words="hold the breath")
    sign_off(store)
    lead.state_earlier("op-1", n=40, words="list of the old clinic")
    file = desk(store).authorise("op-1", **ALLOWED)
    assert (file.n_satisfactory, file.n_earlier, len(file.observed)) == (3, 40, 4)
    assert [one.words for one in file.authorisations] == ["1. TE, any, from 2026-11-04"]
    ended = desk(store).end_authorisation("op-1", 1, to_day=date(2026, 11, 30), why="on leave")
    assert ended.in_force(date(2026, 11, 30))
    assert not ended.in_force(date(2026, 12, 1))
    with store.reading() as reading:
        after = [row.after for row in reading.entries()]
    assert len(after) == ended.n_events
    assert "to 2026-11-30 (on leave)" in after[-1]


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"technique": "MRI"}, "FUP-027"),
        ({"probe": "huge"}, "FUP-027"),
        ({"to_day": date(2026, 11, 3)}, "FUP-043"),
        ({"from_day": date(2027, 1, 1)}, "FUP-044"),
    ],
)
def test_authorisation_that_does_not_fit(store: FollowupStore, change: dict, code: str) -> None:
    sign_off(store)
    desk(store).authorise("op-1", **ALLOWED)
    with pytest.raises(FollowupError, match=code):
        desk(store).authorise("op-1", **{**ALLOWED, **change})


def test_authorisation_needs_the_observed_exams(store: FollowupStore) -> None:
    sign_off(store, 2)
    with pytest.raises(FollowupError, match=r"FUP-045.*2 observed exams are signed off"):
        desk(store).authorise("op-1", **ALLOWED)
    sign_off(store, 1)
    desk(store).authorise("op-1", **ALLOWED)


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"day": date(2026, 11, 5)}, "FUP-040"),
        ({"is_satisfactory": False}, "FUP-041"),
        ({"observer": " "}, "FUP-011"),
        ({"words": "x" * 401}, "FUP-012"),
        ({"words": "a\x00b"}, "FUP-013"),
    ],
)
def test_observed_exam_that_does_not_fit(store: FollowupStore, change: dict, code: str) -> None:
    with pytest.raises(FollowupError, match=code):
        desk(store).observe("op-1", **{**OBSERVED, **change})


def test_end_of_what_is_not_there(store: FollowupStore) -> None:
    with pytest.raises(FollowupError, match="FUP-046"):
        desk(store).end_authorisation("op-1", 1, to_day=date(2026, 11, 30), why="x")
    with pytest.raises(FollowupError, match="FUP-042"):
        desk(store).state_earlier("op-1", n=-1, words="x")


@pytest.mark.parametrize("actor", [REVIEWER, OPERATOR])
def test_who_may_look_may_not_change(store: FollowupStore, actor: Actor) -> None:
    sign_off(store)
    assert desk(store, actor).file("op-1").n_satisfactory == 3
    with pytest.raises(AccessRefused):
        desk(store, actor).train("op-1", day=date(2026, 10, 1), given_by="A", words="x")


@pytest.mark.parametrize("actor", [OTHER_LEAD, ADMINISTRATOR])
def test_others_get_the_answer_of_an_unknown_operator(store: FollowupStore, actor: Actor) -> None:
    sign_off(store)
    assert desk(store, actor).files() == {}
    for operator in ("op-1", "op-unknown"):
        with pytest.raises(FollowupError, match="FUP-014"):
            desk(store, actor).file(operator)


def test_nobody_and_lead_and_oneself_are_refused(store: FollowupStore) -> None:
    sign_off(store)
    with pytest.raises(AccessRefused, match="ACC-001"):
        desk(store, None).file("op-1")
    with pytest.raises(AccessRefused, match="ACC-002"):
        desk(store, LEAD).authorise("op-1", **ALLOWED)
    oneself = Actor("maria", "Maria", (Role.QA_MANAGER,), operator_id="op-1")
    for refused in (
        lambda one: one.observe("op-1", **OBSERVED),
        lambda one: one.authorise("op-1", **ALLOWED),
    ):
        with pytest.raises(AccessRefused, match="ACC-005"):
            refused(desk(store, oneself))


def test_second_of_two_at_once_is_told_what_changed(store: FollowupStore) -> None:
    sign_off(store)
    desk(store).authorise("op-1", **ALLOWED, seen_no=3)
    with pytest.raises(FollowupError, match="FUP-010") as told:
        desk(store, LEAD).state_earlier("op-1", n=5, words="x", seen_no=3)
    assert "Authorised: 1. TE, any" in told.value.message
    assert desk(store).file("op-1").n_earlier == 0


def test_markup_stays_text_and_the_trail_is_whole(store: FollowupStore) -> None:
    words = "<script>alert(1)</script>"
    desk(store).train("op-1", day=date(2026, 10, 1), given_by="A", words=words)
    assert desk(store).file("op-1").trainings[0].words == words
    assert verify_trail(store).is_whole
