"""Lines of the trail as they are shown: who did what, when, and what it changed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from qa.followup.trail import TrailCheck
from qa.model.record import SealedEntry
from qa.views import words
from qa.views.record_lists import trail_state

LINES = (50, 200, 1000)
LONGEST = 240
"""Characters of a change that are shown; the command line shows all."""


@dataclass(frozen=True)
class TrailView:
    """Lines of the trail, the newest first, and whether the whole of it is unbroken.

    notes: what is no fault, such as a clock that went back.
    """

    answer: str
    subline: str
    faults: tuple[str, ...]
    notes: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    classes: tuple[str, ...]


def trail_view(
    lines: Sequence[SealedEntry],
    check: TrailCheck,
    *,
    names: Mapping[str, str],
    is_filtered: bool,
    classes: Sequence[str],
) -> TrailView:
    """Lines as they are shown.

    Args:
        lines: the newest that fit, oldest first.
        names: account's id → name; who has no account keeps the id.
        classes: those that can be asked for.
    """
    state = trail_state(check)
    fitting = " that fit" if is_filtered else ""
    shown = f"Shown: {words.counted(len(lines), 'line')}{fitting}, the newest first."
    return TrailView(
        answer=state.sentence,
        subline=f"{shown} Times are UTC. Each line holds the hash of the one before.",
        faults=state.faults,
        notes=tuple(check.notes),
        rows=tuple(_row(one, names) for one in reversed(lines)),
        classes=tuple(classes),
    )


def _row(one: SealedEntry, names: Mapping[str, str]) -> tuple[str, ...]:
    if one.is_expired:
        return (
            *(f"{one.no}", one.at[:19].replace("T", " "), ""),
            *(one.record_class, "", "content expired by rule", one.hash[:12]),
        )
    return (
        f"{one.no}",
        one.at[:19].replace("T", " "),
        _who(one.by or "", names),
        one.record_class,
        one.record_id or "",
        f"{one.action}{change_words(one.before or '', one.after or '')}",
        one.hash[:12],
    )


def _who(user_id: str, names: Mapping[str, str]) -> str:
    return f"{names[user_id]} ({user_id})" if user_id in names else user_id


def change_words(before: str, after: str) -> str:
    """Example: ': Owner: ada → Owner: ben'"""
    if not before and not after:
        return ""
    text = f": {before} → {after}" if before else f": {after}"
    return text if len(text) <= LONGEST else text[:LONGEST] + " …"
