"""See the trail, verify it, keep its head elsewhere, let content expire."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from qa.followup.case_events import CASE
from qa.followup.documents import DOCUMENT
from qa.followup.retention import kept_documents, kept_statements
from qa.followup.statements import STATEMENT
from qa.followup.trail import Expiry, TrailCheck, check_chain, check_events
from qa.jobs.followup.opening import load_records
from qa.model.errors import FollowupError
from qa.model.permissions import Actor, Permission, require
from qa.model.record import Entry, SealedEntry, time_text
from qa.stores.followup.keeping import Expired, events_with_entries, expire_content
from qa.stores.followup.store import FollowupStore
from qa.stores.followup.tables import TRAIL
from qa.stores.settings import load_network

RETENTION = "retention"
"""Class of the lines that say what expired. It never expires itself."""


@dataclass(frozen=True)
class TrailFilter:
    """Which lines of the trail; an empty field asks nothing. since, until: UTC, both included."""

    record_class: str = ""
    record_id: str = ""
    by: str = ""
    action: str = ""
    since: datetime | None = None
    until: datetime | None = None


def verify_trail(store: FollowupStore, *, heads: Sequence[tuple[int, str]] = ()) -> TrailCheck:
    """Walk the whole trail and every event. heads: (number, hash) pairs that were kept outside."""
    with store.reading() as reading:
        runs = reading.entries(TRAIL.c.record_class == RETENTION, TRAIL.c.action == "expired")
        expiries = [_expiry(row) for row in runs]
        found = check_chain(reading.entries(), heads=heads, expiries=expiries)
        return check_events(events_with_entries(reading), found)


def _expiry(row: SealedEntry) -> Expiry:
    return Expiry(row.no, row.record_id or "", (row.after or "").split(" ")[0])


def list_trail(
    store: FollowupStore,
    wanted: TrailFilter = TrailFilter(),
    *,
    actor: Actor | None,
    last: int = 100,
) -> list[SealedEntry]:
    """The newest lines that fit, oldest first; expired ones only where nothing is asked.

    Raises: AccessRefused.
    """
    require(actor, Permission.SEE_TRAIL)
    columns = {
        TRAIL.c.record_class: wanted.record_class,
        TRAIL.c.record_id: wanted.record_id,
        TRAIL.c.recorded_by: wanted.by,
        TRAIL.c.action: wanted.action,
    }
    conditions = [column == value for column, value in columns.items() if value]
    if wanted.since:
        conditions.append(TRAIL.c.recorded_at >= time_text(wanted.since))
    if wanted.until:
        conditions.append(TRAIL.c.recorded_at <= time_text(wanted.until))
    with store.reading() as reading:
        return reading.newest_entries(*conditions, last=last)


def trail_classes(store: FollowupStore) -> list[str]:
    """Classes of records that have lines, in order."""
    with store.reading() as reading:
        return reading.entry_classes()


def write_head(store: FollowupStore, out: Path, *, actor: Actor | None, at: datetime) -> str:
    """Add the trail's newest number and hash to a file that is kept outside; returns the line.

    Raises: AccessRefused; FollowupError FUP-007 when the file cannot be written.
    """
    require(actor, Permission.KEEP_TRAIL)
    with store.reading() as reading:
        no, value = reading.last_entry()
    line = f"{time_text(at)} {no} {value}"
    try:
        with out.open("a", encoding="ascii") as file:
            file.write(line + "\n")
    except OSError as problem:
        raise FollowupError(
            f"cannot be written ({problem.strerror})", where=str(out), code="FUP-007"
        ) from None
    return line


def read_heads(path: Path) -> list[tuple[int, str]]:
    """Numbers and hashes from a file of write_head.

    Raises: FollowupError FUP-008 when it cannot be read or a line is none of write_head's.
    """
    try:
        lines = path.read_text(encoding="ascii").splitlines()
        heads = [(int(no), value) for _, no, value in (line.split(" ") for line in lines if line)]
    except (OSError, ValueError):
        heads = []
    if not heads or any(len(value) != 64 for _, value in heads):
        raise FollowupError(
            "this holds no heads of a trail",
            where=str(path),
            expected="a file written by 'elastoqa trail head --out FILE'",
            code="FUP-008",
        )
    return heads


def expire_records(
    store: FollowupStore,
    years: Mapping[str, int],
    *,
    actor: Actor | None,
    at: datetime,
    kept: Mapping[str, Sequence[str]],
    is_applied: bool,
) -> dict[str, tuple[str, Expired]]:
    """Let the content of classes expire that is older than its years; the chain stays whole.

    Args:
        years: class → years, from network.toml.
        kept: class → records that stay (open cases).
        is_applied: False: only say what would go.
    Returns: class → the time before which it goes, and how much.
    Raises: AccessRefused; FollowupError FUP-009 when the class 'retention' is named.
    """
    actor = require(actor, Permission.KEEP_TRAIL)
    found: dict[str, tuple[str, Expired]] = {}
    if RETENTION in years or any(number < 1 for number in years.values()):
        raise FollowupError(
            "retention_years names 'retention' or less than one year",
            where="network.toml",
            expected="classes of records and whole years, at least 1",
            code="FUP-009",
        )
    try:
        with store.writing() as writing:
            for name, number in sorted(years.items()):
                before = time_text(_years_before(at, number))
                gone = expire_content(writing, name, before=before, kept=kept.get(name, ()))
                found[name] = (before, gone)
                if gone.n_entries:
                    words = f"{before} is the time before which content was removed: "
                    words += f"{gone.n_entries} rows, {gone.n_records} records, kept {number} years"
                    writing.note(
                        Entry(time_text(at), actor.user_id, "expired", RETENTION, name, after=words)
                    )
            if not is_applied:
                raise _OnlyLooking
    except _OnlyLooking:
        return found
    store.overwrite_removed()
    return found


def expire_of_network(
    folder: Path, store: FollowupStore, *, actor: Actor | None, at: datetime, is_applied: bool
) -> dict[str, tuple[str, Expired]]:
    """expire_records with the years of network.toml.

    Cases that are not closed stay, and documents and statements that still hold.
    """
    with store.reading() as reading:
        cases = load_records(reading, CASE)
        documents = load_records(reading, DOCUMENT)
        signed = load_records(reading, STATEMENT)
    return expire_records(
        store,
        load_network(folder).retention_years,
        actor=actor,
        at=at,
        kept={
            CASE.name: [case.case_id for case in cases if not case.is_closed],
            DOCUMENT.name: kept_documents(documents, on=at.date()),
            STATEMENT.name: kept_statements(signed, on=at.date()),
        },
        is_applied=is_applied,
    )


class _OnlyLooking(Exception):
    """Undoes the transaction."""


def _years_before(at: datetime, years: int) -> datetime:
    """The same moment some years earlier; 29 February becomes 28."""
    day = 28 if (at.month, at.day) == (2, 29) else at.day
    return at.replace(year=at.year - years, day=day)
