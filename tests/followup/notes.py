"""The smallest kind of record: a note with words that are changed, for tests of the store."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from qa.followup.records import RecordClass
from qa.jobs.followup.opening import change_record
from qa.model.accounts import Account, AccountState
from qa.model.permissions import Actor, Role
from qa.model.record import Event, NewEvent, time_text
from qa.stores.followup.accounts import insert_account
from qa.stores.followup.store import FollowupStore

AT = datetime(2026, 11, 4, 9, 30, tzinfo=UTC)

NETWORK_TEXT = """\
id = "small"
name = "Small (invented)"
is_invented = true
[[sites]]
id = "north"
name = "North"
time_zone = "UTC"
profile = "plain"
[[sites]]
id = "south"
name = "South"
time_zone = "UTC"
profile = "plain"
[[operators]]
id = "op-1"
site = "north"
code = "A"
[[criteria]]
id = "common-practice.v1"
from = 2020-01-01
"""

MANAGER = Actor("maria", "Maria (invented)", (Role.QA_MANAGER,))
LEAD = Actor("lena", "Lena (invented)", (Role.SITE_LEAD,), sites=("north",))
OTHER_LEAD = Actor("otto", "Otto (invented)", (Role.SITE_LEAD,), sites=("south",))
OPERATOR = Actor("olga", "Olga (invented)", (Role.OPERATOR,), operator_id="op-1")
REVIEWER = Actor("rita", "Rita (invented)", (Role.REVIEWER,))
ADMINISTRATOR = Actor("adam", "Adam (invented)", (Role.ADMINISTRATOR,))


@dataclass(frozen=True)
class Note:
    note_id: str
    words: str
    n_events: int


def replay_note(events: Sequence[Event]) -> Note:
    return Note(events[0].record_id, events[-1].values["words"], len(events))


NOTE = RecordClass("note", "the note", replay_note, lambda note: {"Words": note.words})


def write(words: str) -> Callable[[Note | None], list[NewEvent]]:
    return lambda note: [NewEvent("changed" if note else "written", {"words": words})]


def keep(
    store: FollowupStore,
    note_id: str,
    words: str,
    *,
    at: datetime = AT,
    by: str = "maria",
    seen_no: int | None = None,
) -> Note:
    with store.writing() as writing:
        return change_record(writing, NOTE, note_id, write(words), by=by, at=at, seen_no=seen_no)


def keep_account(store: FollowupStore, actor: Actor) -> None:
    """An active account with this actor's id."""
    account = Account(
        user_id=actor.user_id,
        email=f"{actor.user_id}@clinic.invalid",
        name=actor.name,
        roles=actor.roles,
        sites=actor.sites,
        operator_id=actor.operator_id,
        state=AccountState.ACTIVE,
        password_hash=None,
        generation=1,
        subject=None,
        peer_key="",
        made_at=time_text(AT),
        change_no=1,
    )
    with store.writing() as writing:
        insert_account(writing, account)
