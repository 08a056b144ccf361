"""Events, the trail and the queue of reminders.

Nothing but expiry may change a row of events or trail: triggers refuse everything that does not
just empty what may expire.
"""

import sqlalchemy as sa
from alembic import op

revision = "r0001"
down_revision = None

_SHORT, _HASH = sa.String(200), sa.String(64)
_NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")

_MAY_EXPIRE = {
    "events": ("kind", "data", "recorded_by"),
    "trail": (
        "salt",
        "recorded_by",
        "action",
        "record_id",
        "event_no",
        "text_before",
        "text_after",
        "event_digest",
    ),
}
_STAYS = {
    "events": ("event_seq", "record_class", "record_id", "event_no", "recorded_at"),
    "trail": (
        "entry_no",
        "recorded_at",
        "record_class",
        "content_digest",
        "previous_hash",
        "hash",
    ),
}


def upgrade() -> None:
    _create_tables()
    for table in _STAYS:
        if op.get_bind().dialect.name == "sqlite":
            _guard_sqlite(table)
        else:
            _guard_postgresql(table)


def _create_tables() -> None:
    op.create_table(
        "events",
        sa.Column("event_seq", _NUMBER, primary_key=True),
        sa.Column("record_class", _SHORT, nullable=False),
        sa.Column("record_id", _SHORT, nullable=False),
        sa.Column("event_no", sa.Integer, nullable=False),
        sa.Column("kind", _SHORT),
        sa.Column("data", sa.Text),
        sa.Column("recorded_at", _SHORT, nullable=False),
        sa.Column("recorded_by", _SHORT),
        sa.UniqueConstraint("record_class", "record_id", "event_no", name="uq_events_record"),
    )
    op.create_table(
        "trail",
        sa.Column("entry_no", _NUMBER, primary_key=True),
        sa.Column("recorded_at", _SHORT, nullable=False),
        sa.Column("record_class", _SHORT, nullable=False),
        sa.Column("salt", _HASH),
        sa.Column("recorded_by", _SHORT),
        sa.Column("action", _SHORT),
        sa.Column("record_id", _SHORT),
        sa.Column("event_no", sa.Integer),
        sa.Column("text_before", sa.Text),
        sa.Column("text_after", sa.Text),
        sa.Column("event_digest", _HASH),
        sa.Column("content_digest", _HASH, nullable=False),
        sa.Column("previous_hash", _HASH, nullable=False),
        sa.Column("hash", _HASH, nullable=False),
    )
    op.create_index("ix_trail_record", "trail", ["record_class", "record_id", "event_no"])
    op.create_table(
        "reminders",
        sa.Column("reminder_id", _SHORT, primary_key=True),
        sa.Column("record_class", _SHORT, nullable=False),
        sa.Column("record_id", _SHORT, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("for_user", _SHORT, nullable=False),
        sa.Column("due_on", _SHORT, nullable=False),
        sa.Column("queued_at", _SHORT, nullable=False),
        sa.Column("sent_at", _SHORT),
    )


def _is_expiry(table: str, same: str) -> str:
    emptied = [f"NEW.{column} IS NULL" for column in _MAY_EXPIRE[table]]
    kept = [f"NEW.{column} {same} OLD.{column}" for column in _STAYS[table]]
    return " AND ".join(emptied + kept)


def _guard_sqlite(table: str) -> None:
    refuse = f"SELECT RAISE(ABORT, '{table} is append-only');"
    op.execute(f"CREATE TRIGGER {table}_keeps_rows BEFORE DELETE ON {table} BEGIN {refuse} END")
    op.execute(
        f"CREATE TRIGGER {table}_keeps_content BEFORE UPDATE ON {table} "
        f"WHEN NOT ({_is_expiry(table, 'IS')}) BEGIN {refuse} END"
    )


def _guard_postgresql(table: str) -> None:
    op.execute(
        f"CREATE FUNCTION {table}_append_only() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"RAISE EXCEPTION '{table} is append-only'; END $$"
    )
    run = f"EXECUTE FUNCTION {table}_append_only()"
    op.execute(f"CREATE TRIGGER {table}_keeps_rows BEFORE DELETE ON {table} FOR EACH ROW {run}")
    op.execute(
        f"CREATE TRIGGER {table}_keeps_all BEFORE TRUNCATE ON {table} FOR EACH STATEMENT {run}"
    )
    op.execute(
        f"CREATE TRIGGER {table}_keeps_content BEFORE UPDATE ON {table} FOR EACH ROW "
        f"WHEN (NOT ({_is_expiry(table, 'IS NOT DISTINCT FROM')})) {run}"
    )
