"""Bring a follow-up store to this program's version: a copy first, then all steps or none."""

from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from qa.model.errors import FollowupError
from qa.stores.disk import is_disk_full
from qa.stores.followup.engine import READS_ONLY

FOLDER = Path(__file__).parent / "migrations"
"""What alembic reads: env.py, and the steps in versions/."""


def revisions() -> list[str]:
    """Every step that this program knows, in order."""
    return sorted(path.name.split("_")[0] for path in (FOLDER / "versions").glob("r*.py"))


def bring_forward(engine: Engine, *, where: str) -> None:
    """Make the tables of a new store, or bring an older one forward.

    The write lock is held meanwhile: of several programs one does it, the others find it done.

    Raises: FollowupError FUP-002 (a newer program wrote it), FUP-003 (no room for the copy).
    """
    known = revisions()
    with engine.connect().execution_options(**{READS_ONLY: True}) as connection:
        if _found(connection, known, where=where) == known[-1]:
            return
    if engine.dialect.name == "sqlite":
        with engine.connect() as connection:
            _use_wal(connection)
    with engine.begin() as connection:
        found = _found(connection, known, where=where)
        if found == known[-1]:
            return
        if found and engine.dialect.name == "sqlite":
            _copy_before(engine, found, where=where)
        _upgrade(connection)


def _found(connection: Connection, known: list[str], *, where: str) -> str | None:
    """The store's version; None: it has no tables yet."""
    if not sa.inspect(connection).has_table("alembic_version"):
        return None
    found = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
    if found is not None and found not in known:
        raise FollowupError(
            f"the follow-up store has version {found}",
            where=where,
            expected=f"version {known[-1]} or older",
            todo="Install the newer program that wrote it; nothing was changed",
            code="FUP-002",
        )
    return found


def _use_wal(connection: Connection) -> None:
    """WAL stays with the file. Set outside of a transaction, as SQLite asks."""
    cursor = connection.connection.cursor()
    cursor.execute("PRAGMA journal_mode = WAL")
    cursor.close()


def _copy_before(engine: Engine, found: str, *, where: str) -> None:
    """A whole copy beside the file, made by a reader while the writer's lock is held."""
    path = Path(str(engine.url.database))
    copy = path.with_name(f"{path.name}.version-{found}")
    unfinished = copy.with_name(f"{copy.name}.unfinished")
    if copy.exists():
        return
    unfinished.unlink(missing_ok=True)
    try:
        raw = engine.raw_connection()
        try:
            raw.cursor().execute("VACUUM INTO ?", (str(unfinished),))
        finally:
            raw.close()
        unfinished.chmod(0o600)
        unfinished.rename(copy)
    except Exception as problem:  # Whatever it is, no step is taken without the copy.
        unfinished.unlink(missing_ok=True)
        reason = "the disk is full" if is_disk_full(problem) else type(problem).__name__
        raise FollowupError(
            f"it has to be brought to a newer version, and no copy can be made first ({reason})",
            where=where,
            todo="Make room for a second copy of the file, then try again; nothing was changed",
            code="FUP-003",
        ) from None


def _upgrade(connection: Connection) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("path_separator", "os")
    config.set_main_option("script_location", str(FOLDER).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
