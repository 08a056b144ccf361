"""The tables of the follow-up store. A change here needs a step in migrations/versions.

Times are ISO text in UTC, so that what is hashed is what is stored, in both databases.
"""

import sqlalchemy as sa

METADATA = sa.MetaData()

_SHORT, _HASH = sa.String(200), sa.String(64)

EVENTS = sa.Table(
    "events",
    METADATA,
    sa.Column("event_seq", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), primary_key=True),
    sa.Column("record_class", _SHORT, nullable=False),
    sa.Column("record_id", _SHORT, nullable=False),
    sa.Column("event_no", sa.Integer, nullable=False),
    sa.Column("kind", _SHORT),
    sa.Column("data", sa.Text),
    sa.Column("recorded_at", _SHORT, nullable=False),
    sa.Column("recorded_by", _SHORT),
    sa.UniqueConstraint("record_class", "record_id", "event_no", name="uq_events_record"),
)
"""One row per event of a record. kind, data and recorded_by are null once expired."""

TRAIL = sa.Table(
    "trail",
    METADATA,
    sa.Column("entry_no", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), primary_key=True),
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
    sa.Index("ix_trail_record", "record_class", "record_id", "event_no"),
)
"""One row per change, log-in, view or export. See qa.model.record.SealedEntry."""

REMINDERS = sa.Table(
    "reminders",
    METADATA,
    sa.Column("reminder_id", _SHORT, primary_key=True),
    sa.Column("record_class", _SHORT, nullable=False),
    sa.Column("record_id", _SHORT, nullable=False),
    sa.Column("what", sa.Text, nullable=False),
    sa.Column("for_user", _SHORT, nullable=False),
    sa.Column("due_on", _SHORT, nullable=False),
    sa.Column("queued_at", _SHORT, nullable=False),
    sa.Column("sent_at", _SHORT),
)
"""One row per reminder to send; the id is made of record, what and due date, so it comes once."""

ACCOUNTS = sa.Table(
    "accounts",
    METADATA,
    sa.Column("user_id", _SHORT, primary_key=True),
    sa.Column("email", _SHORT, nullable=False, unique=True),
    sa.Column("name", _SHORT, nullable=False),
    sa.Column("roles", sa.Text, nullable=False),
    sa.Column("sites", sa.Text, nullable=False),
    sa.Column("operator_id", _SHORT, nullable=False),
    sa.Column("state", _SHORT, nullable=False),
    sa.Column("password_hash", sa.Text),
    sa.Column("generation", sa.Integer, nullable=False),
    sa.Column("subject", sa.String(500), unique=True),
    sa.Column("peer_key", _HASH, nullable=False),
    sa.Column("made_at", _SHORT, nullable=False),
    sa.Column("change_no", sa.Integer, nullable=False),
)
"""One row per account. roles, sites: JSON lists."""

LINKS = sa.Table(
    "one_time_links",
    METADATA,
    sa.Column("token_hash", _HASH, primary_key=True),
    sa.Column("user_id", _SHORT, nullable=False),
    sa.Column("purpose", _SHORT, nullable=False),
    sa.Column("made_at", _SHORT, nullable=False),
    sa.Column("expires_at", _SHORT, nullable=False),
    sa.Column("used_at", _SHORT),
)
"""One row per invitation or reset."""

SESSIONS = sa.Table(
    "sessions",
    METADATA,
    sa.Column("session_hash", _HASH, primary_key=True),
    sa.Column("user_id", _SHORT, nullable=False),
    sa.Column("generation", sa.Integer, nullable=False),
    sa.Column("begun_at", _SHORT, nullable=False),
    sa.Column("seen_at", _SHORT, nullable=False),
    sa.Column("client", _HASH, nullable=False),
)
"""One row per person and browser that is logged in."""

LOG_IN_TRIES = sa.Table(
    "log_in_tries",
    METADATA,
    sa.Column("try_id", _HASH, primary_key=True),
    sa.Column("account_key", _HASH, nullable=False),
    sa.Column("client_key", _HASH, nullable=False),
    sa.Column("tried_at", _SHORT, nullable=False),
    sa.Index("ix_log_in_tries_at", "tried_at"),
)
"""One row per try to log in that has not succeeded, of the last quarter of an hour."""

HOSPITAL_TRIES = sa.Table(
    "hospital_tries",
    METADATA,
    sa.Column("state_hash", _HASH, primary_key=True),
    sa.Column("visit_hash", _HASH, nullable=False),
    sa.Column("nonce", _HASH, nullable=False),
    sa.Column("verifier", _SHORT, nullable=False),
    sa.Column("next_path", sa.Text, nullable=False),
    sa.Column("begun_at", _SHORT, nullable=False),
)
"""One row per log-in that was sent to the hospital's provider and has not come back."""
