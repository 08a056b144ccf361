"""The trail's hash chain: sealing a line, and finding what was altered, removed or reordered.

Method: each row holds the SHA-256 of its content (with a random salt) and the SHA-256 of number,
time, class, content digest and the hash of the row before. Digests are taken over one canonical
text: a JSON array in ASCII without spaces. Numbers have no gaps, so a missing row shows by itself;
rows missing at the end show against a hash kept elsewhere.
Weak when: somebody who can write the whole table seals it anew and no head is kept elsewhere.
References: Haber and Stornetta, J. Cryptology 1991; 3: 99–111 (from memory, verify); FIPS 180-4
    for SHA-256.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from qa.model.record import FIRST_PREVIOUS, Entry, Event, SealedEntry

FORMAT = 1


def canonical(values: Any) -> str:
    """One text for equal values: keys sorted, ASCII, no spaces.

    Raises: ValueError for nan and infinity, TypeError for what JSON has not (our bug).
    """
    return json.dumps(
        values, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False
    )


def digest(*values: Any) -> str:
    return hashlib.sha256(canonical([FORMAT, *values]).encode("ascii")).hexdigest()


def digest_event(event: Event, salt: str) -> str:
    return digest(
        "event",
        salt,
        event.record_class,
        event.record_id,
        event.no,
        event.kind,
        event.data,
        event.at,
        event.by,
    )


def seal_entry(
    entry: Entry, event: Event | None, *, no: int, previous_hash: str, salt: str
) -> SealedEntry:
    """Make an entry the next row of the chain. salt: random, new for each row."""
    event_digest = digest_event(event, salt) if event else None
    content = _digest_content(
        salt,
        entry.by,
        entry.action,
        entry.record_id,
        entry.record_no,
        entry.before,
        entry.after,
        event_digest,
    )
    return SealedEntry(
        no=no,
        at=entry.at,
        record_class=entry.record_class,
        salt=salt,
        by=entry.by,
        action=entry.action,
        record_id=entry.record_id,
        record_no=entry.record_no,
        before=entry.before,
        after=entry.after,
        event_digest=event_digest,
        content_digest=content,
        previous_hash=previous_hash,
        hash=_hash_row(no, entry.at, entry.record_class, content, previous_hash),
    )


def _digest_content(*values: Any) -> str:
    return digest("content", *values)


def _hash_row(no: int, at: str, record_class: str, content: str, previous_hash: str) -> str:
    return digest("row", no, at, record_class, content, previous_hash)


def _is_whole(row: SealedEntry) -> bool:
    """Its own hash fits what it shows."""
    is_content_whole = row.is_expired or row.content_digest == _digest_content(
        row.salt,
        row.by,
        row.action,
        row.record_id,
        row.record_no,
        row.before,
        row.after,
        row.event_digest,
    )
    return is_content_whole and row.hash == _hash_row(
        row.no, row.at, row.record_class, row.content_digest, row.previous_hash
    )


@dataclass(frozen=True)
class Fault:
    """One thing wrong with the trail: the row it shows at, and a sentence."""

    no: int
    sentence: str


@dataclass(frozen=True)
class Expiry:
    """A run that let content expire: rows of a class, before a time. Written as a row itself."""

    no: int
    record_class: str
    before: str


@dataclass
class TrailCheck:
    """What was found. n_expired: rows whose content expired by a recorded run."""

    n_rows: int = 0
    n_events: int = 0
    n_expired: int = 0
    n_heads: int = 0
    last: tuple[int, str] = (0, FIRST_PREVIOUS)
    faults: list[Fault] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def is_whole(self) -> bool:
        return not self.faults


def check_chain(
    rows: Iterable[SealedEntry],
    *,
    heads: Sequence[tuple[int, str]] = (),
    expiries: Sequence[Expiry] = (),
) -> TrailCheck:
    """Walk the chain once, from its first row.

    Args:
        rows: in the order of their numbers.
        heads: (number, hash) pairs kept outside; each must be found again.
        expiries: the recorded runs that removed content.
    Returns: every fault with the row where it shows, in the order of rows. A clock that went
        back is a note: numbers order the trail, not times.
    """
    found = TrailCheck()
    wanted: Mapping[int, list[str]] = _by_number(heads)
    no_before, hash_before, at_before = 0, FIRST_PREVIOUS, ""
    loose: list[SealedEntry] = []
    numbers: dict[str, int] = {}
    for row in rows:
        found.n_rows += 1
        numbers[row.hash] = row.no
        if row.no != no_before + 1:
            found.faults.append(_missing(no_before + 1, row.no - 1))
        elif row.previous_hash != hash_before:
            loose.append(row)
        if not _is_whole(row):
            found.faults.append(
                Fault(row.no, f"Row {row.no} was altered: it no longer fits its hash.")
            )
        if row.is_expired:
            found.n_expired += 1
            if not any(_covers(one, row) for one in expiries):
                found.faults.append(
                    Fault(row.no, f"Row {row.no} lost its content and no expiry says so.")
                )
        for head in wanted.get(row.no, ()):
            found.n_heads += 1
            if head != row.hash:
                found.faults.append(
                    Fault(row.no, f"Row {row.no} is not the one whose hash was kept outside.")
                )
        if row.at < at_before:
            found.notes.append(
                f"The clock went back at row {row.no}: {at_before[:19]}, then {row.at[:19]}."
            )
        no_before, hash_before, at_before = row.no, row.hash, row.at
    found.last = (no_before, hash_before)
    found.faults += [_out_of_order(row, numbers) for row in loose]
    found.faults += [
        Fault(no, f"Rows after {no_before} are missing: the hash of row {no} is kept outside.")
        for no in sorted(wanted)
        if no > no_before
    ]
    found.faults.sort(key=lambda fault: fault.no)
    return found


def _by_number(heads: Sequence[tuple[int, str]]) -> dict[int, list[str]]:
    result: dict[int, list[str]] = {}
    for no, value in heads:
        if no:
            result.setdefault(no, []).append(value)
    return result


def _missing(first: int, last: int) -> Fault:
    if first == last:
        return Fault(first, f"Row {first} is missing.")
    return Fault(first, f"Rows {first} to {last} are missing.")


def _out_of_order(row: SealedEntry, numbers: Mapping[str, int]) -> Fault:
    """A row that does not follow the one before: it was sealed as the successor of another."""
    after = numbers.get(row.previous_hash)
    if after is None:
        why = "the row before it was altered or replaced"
    else:
        why = f"it was sealed after row {after}, so rows changed places"
    return Fault(row.no, f"Row {row.no} does not follow row {row.no - 1}: {why}.")


def _covers(expiry: Expiry, row: SealedEntry) -> bool:
    return expiry.record_class == row.record_class and row.at < expiry.before and row.no < expiry.no


def check_events(
    events: Iterable[tuple[Event | None, SealedEntry | None]], found: TrailCheck
) -> TrailCheck:
    """Compare each event with the row of the trail that stands for it.

    Args:
        events: pairs joined on class, record and number; None on the side where one is missing.
            Expired ones are left out.
    """
    for event, row in events:
        if event is None and row is not None:
            found.faults.append(
                Fault(
                    row.no,
                    f"The event of row {row.no} is missing: {row.record_class} {row.record_id}, "
                    f"number {row.record_no}.",
                )
            )
            continue
        if event is None:
            continue
        found.n_events += 1
        name = f"{event.record_class} {event.record_id}, number {event.no}"
        if row is None:
            found.faults.append(Fault(0, f"An event has no row in the trail: {name}."))
        elif row.event_digest != digest_event(event, row.salt or ""):
            found.faults.append(Fault(row.no, f"The event of row {row.no} was altered: {name}."))
    return found
