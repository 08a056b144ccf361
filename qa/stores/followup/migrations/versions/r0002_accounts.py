"""Accounts, one-time links, sessions, and tries to log in."""

import sqlalchemy as sa
from alembic import op

revision = "r0002"
down_revision = "r0001"

_SHORT, _HASH = sa.String(200), sa.String(64)


def upgrade() -> None:
    op.create_table(
        "accounts",
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
    op.create_table(
        "one_time_links",
        sa.Column("token_hash", _HASH, primary_key=True),
        sa.Column("user_id", _SHORT, nullable=False),
        sa.Column("purpose", _SHORT, nullable=False),
        sa.Column("made_at", _SHORT, nullable=False),
        sa.Column("expires_at", _SHORT, nullable=False),
        sa.Column("used_at", _SHORT),
    )
    op.create_table(
        "sessions",
        sa.Column("session_hash", _HASH, primary_key=True),
        sa.Column("user_id", _SHORT, nullable=False),
        sa.Column("generation", sa.Integer, nullable=False),
        sa.Column("begun_at", _SHORT, nullable=False),
        sa.Column("seen_at", _SHORT, nullable=False),
        sa.Column("client", _HASH, nullable=False),
    )
    _create_tries()


def _create_tries() -> None:
    op.create_table(
        "log_in_tries",
        sa.Column("try_id", _HASH, primary_key=True),
        sa.Column("account_key", _HASH, nullable=False),
        sa.Column("client_key", _HASH, nullable=False),
        sa.Column("tried_at", _SHORT, nullable=False),
    )
    op.create_index("ix_log_in_tries_at", "log_in_tries", ["tried_at"])
    op.create_table(
        "hospital_tries",
        sa.Column("state_hash", _HASH, primary_key=True),
        sa.Column("visit_hash", _HASH, nullable=False),
        sa.Column("nonce", _HASH, nullable=False),
        sa.Column("verifier", _SHORT, nullable=False),
        sa.Column("next_path", sa.Text, nullable=False),
        sa.Column("begun_at", _SHORT, nullable=False),
    )
