"""What every kind of record shares: its state is the replay of its events, told in plain words."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Generic, TypeVar

from qa.followup.trail import canonical
from qa.model.errors import FollowupError
from qa.model.record import Event, NewEvent, time_text

S = TypeVar("S")
MAX_TEXT = 4_000


@dataclass(frozen=True)
class RecordClass(Generic[S]):
    """One kind of record.

    Args:
        name: stands in the store, in the trail and in retention settings; never renamed.
        title: in words, for messages ("the case").
        replay: its state from all of its events, at least one, in their order.
        plain: every field of the state in words; the trail shows those that an event changed.
        harmless: kinds of events that do not make an edit stale when somebody else adds one.
    """

    name: str
    title: str
    replay: Callable[[Sequence[Event]], S]
    plain: Callable[[S], Mapping[str, str]]
    harmless: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Change:
    """An event to keep, with what the trail says of it."""

    event: Event
    before: str
    after: str


def decide_changes(
    kind: RecordClass[S],
    record_id: str,
    events: Sequence[Event],
    decide: Callable[[S | None], Sequence[NewEvent]],
    *,
    by: str,
    at: datetime,
    seen_no: int | None = None,
) -> list[Change]:
    """Run a decision on a record as it stands and word its events for the trail.

    Args:
        events: of the record, all of them; empty for a new one.
        decide: the state (None: no such record yet) → events. It raises what does not fit.
        seen_no: number of the last event that the person had seen; None: does not matter.
    Raises: FollowupError FUP-010 when somebody else changed the record since.
    """
    if seen_no is not None:
        refuse_stale(kind, record_id, events, seen_no=seen_no)
    known = list(events)
    state = kind.replay(known) if known else None
    changes = []
    for new in decide(state):
        event = Event(
            kind.name, record_id, len(known) + 1, new.kind, canonical(new.data), time_text(at), by
        )
        known.append(event)
        later = kind.replay(known)
        before, after = words_of_change(kind.plain(state) if state else {}, kind.plain(later))
        changes.append(Change(event, before, after))
        state = later
    return changes


def words_of_change(before: Mapping[str, str], after: Mapping[str, str]) -> tuple[str, str]:
    """The fields that differ, one a line, as they were and as they are.

    Example: {"Owner": "ann"}, {"Owner": "bob"} → ("Owner: ann", "Owner: bob")
    """
    names = [name for name in {**before, **after} if before.get(name) != after.get(name)]
    return _lines(before, names), _lines(after, names)


def _lines(fields: Mapping[str, str], names: Sequence[str]) -> str:
    return "\n".join(f"{name}: {fields[name]}" for name in names if fields.get(name))


def refuse_stale(
    kind: RecordClass[S], record_id: str, events: Sequence[Event], *, seen_no: int
) -> None:
    """Raises: FollowupError FUP-010, with what others changed, when seen_no is not the last."""
    since = [event for event in events[max(seen_no, 0) :] if event.kind not in kind.harmless]
    if not since or seen_no < 0:
        return
    told = "; ".join(f"{event.by} at {event.at[:16]} UTC: {event.kind}" for event in since)
    old = kind.plain(kind.replay(events[:seen_no])) if seen_no else {}
    _, now = words_of_change(old, kind.plain(kind.replay(events)))
    raise FollowupError(
        f"somebody else changed it since you opened it ({told})",
        where=f"{kind.title} {record_id}",
        expected="the newest state, which is now: " + now.replace("\n", "; "),
        todo="Look at it again and enter yours anew; nothing of yours was written",
        code="FUP-010",
    )


def clean_text(text: object, *, field: str, is_needed: bool = True, longest: int = MAX_TEXT) -> str:
    """A person's words as they are kept: trimmed, no control characters, not too long.

    Markup stays what it is, text; whoever shows it escapes it.

    Raises: FollowupError FUP-011 (missing), FUP-012 (too long), FUP-013 (control characters).
    """
    words = str(text or "").replace("\r\n", "\n").strip()
    if is_needed and not words:
        raise FollowupError("this must not be empty", where=field, expected="words", code="FUP-011")
    if len(words) > longest:
        raise FollowupError(
            f"{len(words):,} characters",
            where=field,
            expected=f"at most {longest:,}",
            code="FUP-012",
        )
    if any(not one.isprintable() and one not in "\n\t" for one in words):
        raise FollowupError(
            "it holds characters that cannot be printed",
            where=field,
            expected="plain text",
            code="FUP-013",
        )
    return words
