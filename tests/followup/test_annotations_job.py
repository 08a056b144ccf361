"""Notes in charts: by whom, where, and who sees them."""

from datetime import date

import pytest

from qa.jobs.followup.annotations import add_annotation, list_annotations, withdraw_annotation
from qa.model.errors import AccessRefused, FollowupError
from qa.model.parsing import parse_network
from qa.model.permissions import Actor
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


def add(store: FollowupStore, actor: Actor | None, **more: object) -> object:
    told: dict = {"unit_kind": "site", "unit_id": "north", "day": date(2026, 11, 1)}
    told |= {"kind": "new staff", "words": "<b>Two</b> new operators"}
    return add_annotation(store, network=NETWORK, actor=actor, at=AT, **told | more)


def test_note_is_seen_by_those_who_see_the_chart(store: FollowupStore) -> None:
    add(store, LEAD)
    add(store, MANAGER, unit_kind="network", unit_id="network", kind="campaign")
    add(store, MANAGER, unit_kind="operator", unit_id="op-1")
    seen = {
        actor.user_id: [one.annotation_id[-1] for one in list_annotations(store, actor=actor)]
        for actor in (MANAGER, REVIEWER, LEAD, OTHER_LEAD, OPERATOR, ADMINISTRATOR)
    }
    assert seen == {
        "maria": ["1", "2", "3"],
        "rita": ["1", "2", "3"],
        "lena": ["1", "2", "3"],
        "otto": ["2"],
        "olga": ["2", "3"],
        "adam": [],
    }
    assert list_annotations(store, actor=None) == []


@pytest.mark.parametrize(
    "more",
    [
        {"unit_id": "nowhere"},
        {"unit_kind": "planet"},
        {"day": date(2026, 11, 5)},
        {"kind": "weather"},
    ],
)
def test_note_of_nothing_is_refused(store: FollowupStore, more: dict) -> None:
    with pytest.raises(FollowupError, match="FUP-035"):
        add(store, MANAGER, **more)


@pytest.mark.parametrize("actor", [OTHER_LEAD, OPERATOR, REVIEWER, ADMINISTRATOR, None])
def test_who_may_not_writes_no_note(store: FollowupStore, actor: Actor | None) -> None:
    with pytest.raises(AccessRefused):
        add(store, actor)


def test_withdrawn_note_stays_in_the_record(store: FollowupStore) -> None:
    add(store, LEAD)
    with pytest.raises(FollowupError, match="FUP-014"):
        withdraw_annotation(store, "NOTE-0001", why="x", actor=OTHER_LEAD, at=AT)
    with pytest.raises(AccessRefused):
        withdraw_annotation(store, "NOTE-0001", why="x", actor=REVIEWER, at=AT)
    withdraw_annotation(store, "NOTE-0001", why="wrong site", actor=LEAD, at=AT)
    assert list_annotations(store, actor=MANAGER) == []
    with store.reading() as reading:
        assert len(reading.events("annotation")) == 2
