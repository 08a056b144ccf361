"""The store itself: reading, and writing a change together with its line of the trail."""

import os
import secrets
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine
from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError

from qa.model.errors import FollowupError
from qa.model.record import FIRST_PREVIOUS, Entry, Event, Seal, SealedEntry
from qa.stores.disk import disk_full, is_disk_full
from qa.stores.followup.engine import READS_ONLY, followup_url, make_engine
from qa.stores.followup.migrate import bring_forward
from qa.stores.followup.tables import EVENTS, TRAIL

_PAGE = 2_000


class Reading:
    """One moment of the store. `connection` is open to the stores of other tables."""

    def __init__(self, connection: Connection) -> None:
        self.connection = connection

    def events(self, record_class: str, record_id: str | None = None) -> list[Event]:
        """Events of a class or of one record, in the order in which they were recorded.

        Records whose content expired are left out.
        """
        query = sa.select(EVENTS).where(EVENTS.c.record_class == record_class)
        if record_id is not None:
            query = query.where(EVENTS.c.record_id == record_id)
        query = query.where(EVENTS.c.kind.is_not(None))
        rows = self.connection.execute(query.order_by(EVENTS.c.event_seq))
        return [event_of(row) for row in rows]

    def n_records(self, record_class: str) -> int:
        """Records of a class that there ever were, expired ones too."""
        query = sa.select(sa.func.count()).select_from(EVENTS)
        query = query.where(EVENTS.c.record_class == record_class, EVENTS.c.event_no == 1)
        return self.connection.execute(query).scalar_one()

    def last_entry(self) -> tuple[int, str]:
        """Number and hash of the trail's newest row; (0, 64 zeros) where there is none."""
        query = sa.select(TRAIL.c.entry_no, TRAIL.c.hash).order_by(TRAIL.c.entry_no.desc())
        row = self.connection.execute(query.limit(1)).first()
        return (row[0], row[1]) if row else (0, FIRST_PREVIOUS)

    def entries(self, *conditions: sa.ColumnElement[bool]) -> Iterator[SealedEntry]:
        """Rows of the trail in the order of their numbers, read page by page."""
        after = 0
        while True:
            query = sa.select(TRAIL).where(TRAIL.c.entry_no > after, *conditions)
            rows = self.connection.execute(query.order_by(TRAIL.c.entry_no).limit(_PAGE)).all()
            yield from (entry_of(row) for row in rows)
            if len(rows) < _PAGE:
                return
            after = rows[-1].entry_no

    def newest_entries(self, *conditions: sa.ColumnElement[bool], last: int) -> list[SealedEntry]:
        """The newest rows of the trail that fit, the oldest of them first."""
        query = sa.select(TRAIL).where(*conditions).order_by(TRAIL.c.entry_no.desc()).limit(last)
        return [entry_of(row) for row in self.connection.execute(query)][::-1]

    def entry_classes(self) -> list[str]:
        """Classes of records that have rows in the trail, in order."""
        query = sa.select(TRAIL.c.record_class).distinct().order_by(TRAIL.c.record_class)
        return [row[0] for row in self.connection.execute(query)]


class Writing(Reading):
    """One transaction. All of it is kept when the block ends, or nothing."""

    def __init__(self, connection: Connection, seal: Seal) -> None:
        super().__init__(connection)
        self._seal = seal
        self._last = self.last_entry()

    def append(self, event: Event, *, action: str, before: str = "", after: str = "") -> None:
        """Keep an event and its line of the trail."""
        self.connection.execute(
            EVENTS.insert().values(
                record_class=event.record_class,
                record_id=event.record_id,
                event_no=event.no,
                kind=event.kind,
                data=event.data,
                recorded_at=event.at,
                recorded_by=event.by,
            )
        )
        entry = Entry(
            at=event.at,
            by=event.by,
            action=action,
            record_class=event.record_class,
            record_id=event.record_id,
            record_no=event.no,
            before=before,
            after=after,
        )
        self._add(entry, event)

    def note(self, entry: Entry) -> None:
        """A line of the trail for what keeps no events: a log-in, a view, a change of a table."""
        self._add(replace(entry, record_no=None), None)

    def _add(self, entry: Entry, event: Event | None) -> None:
        no, previous_hash = self._last
        row = self._seal(
            entry, event, no=no + 1, previous_hash=previous_hash, salt=secrets.token_hex(16)
        )
        self.connection.execute(TRAIL.insert().values(**_columns(row)))
        self._last = (row.no, row.hash)


def _columns(row: SealedEntry) -> dict[str, Any]:
    return {
        "entry_no": row.no,
        "recorded_at": row.at,
        "record_class": row.record_class,
        "salt": row.salt,
        "recorded_by": row.by,
        "action": row.action,
        "record_id": row.record_id,
        "event_no": row.record_no,
        "text_before": row.before,
        "text_after": row.after,
        "event_digest": row.event_digest,
        "content_digest": row.content_digest,
        "previous_hash": row.previous_hash,
        "hash": row.hash,
    }


def event_of(row: Any) -> Event:
    return Event(
        record_class=row.record_class,
        record_id=row.record_id,
        no=row.event_no,
        kind=row.kind,
        data=row.data,
        at=row.recorded_at,
        by=row.recorded_by,
    )


def entry_of(row: Any) -> SealedEntry:
    return SealedEntry(
        no=row.entry_no,
        at=row.recorded_at,
        record_class=row.record_class,
        salt=row.salt,
        by=row.recorded_by,
        action=row.action,
        record_id=row.record_id,
        record_no=row.event_no,
        before=row.text_before,
        after=row.text_after,
        event_digest=row.event_digest,
        content_digest=row.content_digest,
        previous_hash=row.previous_hash,
        hash=row.hash,
    )


@dataclass(frozen=True)
class FollowupStore:
    """Decisions and trail of one network. Safe to use from several threads and processes."""

    where: str
    _engine: Engine
    _seal: Seal

    @contextmanager
    def reading(self) -> Iterator[Reading]:
        """Look at one moment of the store, whatever others write meanwhile."""
        with self._trouble(), self._engine.connect() as connection:
            reading = connection.execution_options(**{READS_ONLY: True})
            with reading.begin():
                yield Reading(reading)

    @contextmanager
    def writing(self) -> Iterator[Writing]:
        """One transaction, alone; kept when the block ends without an exception.

        Raises: FollowupError FUP-004 (busy), FUP-005 (disk full), FUP-006 (out of reach).
        """
        with self._trouble(), self._engine.begin() as connection:
            yield Writing(connection, self._seal)

    @contextmanager
    def _trouble(self) -> Iterator[None]:
        try:
            yield
        except IntegrityError:
            raise
        except DBAPIError as problem:
            raise self._told(problem) from problem

    def _told(self, problem: DBAPIError) -> Exception:
        cause = problem.orig or problem
        if is_disk_full(cause) or "disk is full" in str(cause):
            kept = "nothing of the last change was kept, everything before is whole"
            return disk_full(FollowupError, where=self.where, kept=kept, code="FUP-005")
        if not isinstance(problem, OperationalError):
            return problem
        if "locked" in str(cause):
            return FollowupError(
                "the follow-up store stays busy",
                where=self.where,
                todo="Try again in a minute; nothing was changed",
                code="FUP-004",
            )
        return FollowupError(
            "the follow-up store cannot be reached",
            where=self.where,
            todo="See that the file may be written, or that the database server runs",
            code="FUP-006",
        )

    def overwrite_removed(self) -> None:
        """Have what expired leave the write-ahead log too (SQLite; secure_delete does the file)."""
        if self._engine.dialect.name == "sqlite":
            with self._trouble(), self._engine.connect() as connection:
                cursor = connection.connection.cursor()
                cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
                cursor.close()

    def close(self) -> None:
        self._engine.dispose()


def open_followup(
    root: Path, *, setting: str, environ: Mapping[str, str], seal: Seal
) -> FollowupStore:
    """Open a network's follow-up store; it is made or brought forward where needed.

    Args:
        root: the network folder.
        setting: followup_url of network.toml, "" for the file in the folder.
        seal: qa.followup.trail.seal_entry.
    Raises: FollowupError FUP-001 to FUP-006.
    """
    url = followup_url(root, setting=setting, environ=environ)
    is_file = url.get_backend_name() == "sqlite"
    where = Path(url.database or "").name if is_file else f"{url.host}/{url.database}"
    if is_file:
        _make_private(Path(url.database or ""))
    engine = make_engine(url)
    store = FollowupStore(where, engine, seal)
    try:
        with store._trouble():
            bring_forward(engine, where=where)
    except BaseException:
        store.close()
        raise
    return store


def _make_private(path: Path) -> None:
    """A new file is for its owner only, since it holds people's records."""
    try:
        os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
    except OSError as problem:
        raise FollowupError(
            f"cannot be opened ({problem.strerror})",
            where=str(path),
            expected="a folder that this program may write to",
            code="FUP-006",
        ) from None
