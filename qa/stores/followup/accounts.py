"""Rows of accounts, one-time links, sessions and tries to log in."""

import json
from dataclasses import asdict
from typing import Any

import sqlalchemy as sa

from qa.model.accounts import Account, AccountState, LinkPurpose, OneTimeLink, Session
from qa.model.permissions import Role
from qa.stores.followup.store import Reading, Writing
from qa.stores.followup.tables import ACCOUNTS, HOSPITAL_TRIES, LINKS, LOG_IN_TRIES, SESSIONS


def has_accounts(reading: Reading) -> bool:
    return reading.connection.execute(sa.select(ACCOUNTS.c.user_id).limit(1)).first() is not None


def all_accounts(reading: Reading) -> list[Account]:
    """By name."""
    rows = reading.connection.execute(sa.select(ACCOUNTS).order_by(ACCOUNTS.c.name))
    return [_account_of(row) for row in rows]


def find_account(
    reading: Reading, *, user_id: str = "", email: str = "", subject: str = ""
) -> Account | None:
    """The account with this id, e-mail (lower case) or subject of the hospital's log-in."""
    wanted = {
        ACCOUNTS.c.user_id: user_id,
        ACCOUNTS.c.email: email,
        ACCOUNTS.c.subject: subject,
    }
    conditions = [column == value for column, value in wanted.items() if value]
    if not conditions:
        return None
    row = reading.connection.execute(sa.select(ACCOUNTS).where(*conditions)).first()
    return _account_of(row) if row else None


def _account_of(row: Any) -> Account:
    values = dict(row._mapping)
    values["roles"] = tuple(Role(one) for one in json.loads(values["roles"]))
    values["sites"] = tuple(json.loads(values["sites"]))
    values["state"] = AccountState(values["state"])
    return Account(**values)


def _row_of(account: Account) -> dict[str, Any]:
    return asdict(account) | {
        "roles": json.dumps(list(account.roles)),
        "sites": json.dumps(list(account.sites)),
        "state": account.state.value,
    }


def insert_account(writing: Writing, account: Account) -> None:
    writing.connection.execute(ACCOUNTS.insert().values(**_row_of(account)))


def replace_account(writing: Writing, account: Account) -> None:
    row = _row_of(account)
    writing.connection.execute(
        ACCOUNTS.update().where(ACCOUNTS.c.user_id == account.user_id).values(**row)
    )


# One-time links


def insert_link(writing: Writing, link: OneTimeLink) -> None:
    """A new link takes the place of older ones of the same account."""
    older = LINKS.c.user_id == link.user_id
    writing.connection.execute(
        LINKS.update().where(older, LINKS.c.used_at.is_(None)).values(used_at=link.made_at)
    )
    writing.connection.execute(LINKS.insert().values(**asdict(link)))


def find_link(reading: Reading, token_hash: str) -> OneTimeLink | None:
    row = reading.connection.execute(
        sa.select(LINKS).where(LINKS.c.token_hash == token_hash)
    ).first()
    if row is None:
        return None
    values = dict(row._mapping)
    return OneTimeLink(**{**values, "purpose": LinkPurpose(values["purpose"])})


def use_link(writing: Writing, token_hash: str, *, at: str) -> bool:
    """Whether it was unused until now."""
    done = writing.connection.execute(
        LINKS.update()
        .where(LINKS.c.token_hash == token_hash, LINKS.c.used_at.is_(None))
        .values(used_at=at)
    )
    return done.rowcount == 1


def end_links(writing: Writing, user_id: str, *, at: str) -> None:
    writing.connection.execute(
        LINKS.update()
        .where(LINKS.c.user_id == user_id, LINKS.c.used_at.is_(None))
        .values(used_at=at)
    )


# Sessions


def insert_session(writing: Writing, session: Session) -> None:
    writing.connection.execute(SESSIONS.insert().values(**asdict(session)))


def find_session(reading: Reading, session_hash: str) -> Session | None:
    query = sa.select(SESSIONS).where(SESSIONS.c.session_hash == session_hash)
    row = reading.connection.execute(query).first()
    return Session(**row._mapping) if row else None


def touch_session(writing: Writing, session_hash: str, *, at: str) -> None:
    writing.connection.execute(
        SESSIONS.update().where(SESSIONS.c.session_hash == session_hash).values(seen_at=at)
    )


def delete_session(writing: Writing, session_hash: str) -> None:
    writing.connection.execute(SESSIONS.delete().where(SESSIONS.c.session_hash == session_hash))


def delete_sessions(writing: Writing, *, user_id: str = "", begun_before: str = "") -> None:
    """Of a person, or those that have run out."""
    condition = SESSIONS.c.user_id == user_id if user_id else SESSIONS.c.begun_at < begun_before
    writing.connection.execute(SESSIONS.delete().where(condition))


# Tries to log in


def insert_try(
    writing: Writing, *, try_id: str, account_key: str, client_key: str, at: str
) -> None:
    row = {
        "try_id": try_id,
        "account_key": account_key,
        "client_key": client_key,
        "tried_at": at,
    }
    writing.connection.execute(LOG_IN_TRIES.insert().values(**row))


def tries_since(reading: Reading, *, account_key: str, client_key: str, since: str) -> list[str]:
    """Times of tries at one account, or (account_key "") from one client, oldest first."""
    query = sa.select(LOG_IN_TRIES.c.tried_at).where(
        LOG_IN_TRIES.c.tried_at >= since,
        LOG_IN_TRIES.c.account_key == account_key
        if account_key
        else LOG_IN_TRIES.c.client_key == client_key,
    )
    return list(reading.connection.execute(query.order_by(LOG_IN_TRIES.c.tried_at)).scalars())


def forget_tries(writing: Writing, *, account_key: str = "", before: str = "") -> None:
    condition = (
        LOG_IN_TRIES.c.account_key == account_key
        if account_key
        else LOG_IN_TRIES.c.tried_at < before
    )
    writing.connection.execute(LOG_IN_TRIES.delete().where(condition))


# Log-ins that were sent to the hospital's provider


def insert_hospital_try(writing: Writing, row: dict[str, str], *, forget_before: str) -> None:
    writing.connection.execute(
        HOSPITAL_TRIES.delete().where(HOSPITAL_TRIES.c.begun_at < forget_before)
    )
    writing.connection.execute(HOSPITAL_TRIES.insert().values(**row))


def take_hospital_try(writing: Writing, state_hash: str) -> dict[str, str] | None:
    """The row, which can be taken once."""
    where = HOSPITAL_TRIES.c.state_hash == state_hash
    row = writing.connection.execute(sa.select(HOSPITAL_TRIES).where(where)).first()
    writing.connection.execute(HOSPITAL_TRIES.delete().where(where))
    return dict(row._mapping) if row else None
