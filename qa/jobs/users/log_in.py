"""Logging in and out: throttled, with limits that all workers share."""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from qa.jobs.users.accounts import Accounts, plain_email
from qa.jobs.users.passwords import Passwords, check_new_password
from qa.jobs.users.tokens import hash_of, new_token
from qa.model.accounts import Account, AccountState, Session
from qa.model.definitions import LogIn
from qa.model.errors import AccessRefused
from qa.model.permissions import Actor
from qa.model.record import Entry, time_text
from qa.stores.followup import accounts as rows
from qa.stores.followup.store import FollowupStore, Writing

LOG_IN = "log-in"
"""Class of the trail's lines about logging in and out."""
NOBODY = "nobody"
WINDOW = timedelta(minutes=15)
MOST_FOR_ACCOUNT, MOST_FOR_CLIENT = 5, 50
"""Failed tries within the window. The second bounds guessing at many accounts from one place; it
is wide, since a whole clinic may reach the screens through one proxy."""
TOUCH_AFTER = timedelta(minutes=1)


@dataclass(frozen=True)
class Viewer:
    """Somebody who is logged in. token: the session's, as its cookie holds it."""

    account: Account
    token: str

    @property
    def actor(self) -> Actor:
        return self.account.actor


@dataclass(frozen=True)
class FrontDoor:
    """Where people come in. passwords: how they are hashed."""

    store: FollowupStore
    settings: LogIn
    passwords: Passwords

    def is_open(self) -> bool:
        """No account was ever made, so there is nothing to log in to."""
        with self.store.reading() as reading:
            return not rows.has_accounts(reading)

    def log_in(
        self, email: str, password: str, *, client: str, at: datetime, old_token: str = ""
    ) -> Viewer:
        """Begin a session, with a token that nobody has seen before.

        Args:
            client: what tells one browser from another (address and program).
            old_token: of a session that this browser had; it ends.
        Raises: AccessRefused ACC-003 (wrong e-mail or password, never which), ACC-004 (too many
            tries: say when to come back).
        """
        key = hash_of(email.strip().casefold())
        self._take_try(key, client, at=at)
        with self.store.reading() as reading:
            account = rows.find_account(reading, email=plain_email(email))
        is_active = account is not None and account.state is AccountState.ACTIVE
        kept = account.password_hash if account and is_active else None
        if not self.passwords.fits(kept, password) or account is None or not kept:
            self._note_failure(account, at=at)
            raise AccessRefused(
                "e-mail and password do not fit together",
                todo="Try again, or ask the administrator for a new link",
                code="ACC-003",
            )
        stronger = self.passwords.hash(password) if self.passwords.is_old(kept) else None
        with self.store.writing() as writing:
            now = rows.find_account(writing, user_id=account.user_id)
            if now is None or now.password_hash != kept or now.state is not AccountState.ACTIVE:
                raise AccessRefused("the account has just changed", code="ACC-003")
            rows.forget_tries(writing, account_key=key)
            if stronger:
                now = replace(now, password_hash=stronger)
                rows.replace_account(writing, now)
            return self.begin(
                writing, now, client=client, at=at, how="password", old_token=old_token
            )

    def begin(
        self,
        writing: Writing,
        account: Account,
        *,
        client: str,
        at: datetime,
        how: str,
        old_token: str = "",
    ) -> Viewer:
        """A new session of an account that has shown who it is."""
        token = new_token()
        if old_token:
            rows.delete_session(writing, hash_of(old_token))
        oldest = at - timedelta(hours=self.settings.absolute_hours)
        rows.delete_sessions(writing, begun_before=time_text(oldest))
        moment = time_text(at)
        session = Session(
            hash_of(token), account.user_id, account.generation, moment, moment, hash_of(client)
        )
        rows.insert_session(writing, session)
        writing.note(
            Entry(moment, account.user_id, "logged in", LOG_IN, account.user_id, after=f"By {how}")
        )
        return Viewer(account, token)

    def viewer(self, token: str, *, client: str, at: datetime) -> Viewer | None:
        """Who this session is; None when it ended, ran out or comes from another browser."""
        if not token:
            return None
        with self.store.reading() as reading:
            session = rows.find_session(reading, hash_of(token))
            account = rows.find_account(reading, user_id=session.user_id) if session else None
        if session is None or account is None or not self._lives(session, account, client, at):
            return None
        if at - datetime.fromisoformat(session.seen_at) >= TOUCH_AFTER:
            with self.store.writing() as writing:
                rows.touch_session(writing, session.session_hash, at=time_text(at))
        return Viewer(account, token)

    def _lives(self, session: Session, account: Account, client: str, at: datetime) -> bool:
        idle = at - datetime.fromisoformat(session.seen_at)
        whole = at - datetime.fromisoformat(session.begun_at)
        return (
            account.state is AccountState.ACTIVE
            and session.generation == account.generation
            and session.client == hash_of(client)
            and idle < timedelta(minutes=self.settings.idle_minutes)
            and whole < timedelta(hours=self.settings.absolute_hours)
        )

    def log_out(self, viewer: Viewer, *, at: datetime) -> None:
        with self.store.writing() as writing:
            rows.delete_session(writing, hash_of(viewer.token))
            who = viewer.account.user_id
            writing.note(Entry(time_text(at), who, "logged out", LOG_IN, who))

    def change_password(
        self, viewer: Viewer, old: str, new: str, *, client: str, at: datetime
    ) -> Viewer:
        """A new password for oneself; every other session ends.

        Raises: AccessRefused ACC-003, ACC-004; FollowupError USR-010.
        """
        account = viewer.account
        key = hash_of(account.email)
        self._take_try(key, client, at=at)
        if not self.passwords.fits(account.password_hash, old):
            self._note_failure(account, at=at)
            raise AccessRefused("the present password does not fit", code="ACC-003")
        check_new_password(new, email=account.email, name=account.name)
        kept = self.passwords.hash(new)

        def changed(one: Account) -> Account:
            return replace(one, password_hash=kept, generation=one.generation + 1)

        with self.store.writing() as writing:
            rows.forget_tries(writing, account_key=key)
            desk = Accounts(self.store, account.actor, at)
            now = desk._replace(writing, account.actor, account.user_id, "set password", changed)
            return self.begin(writing, now, client=client, at=at, how="new password")

    # Throttling

    def _take_try(self, account_key: str, client: str, *, at: datetime) -> None:
        """Count a try before it is looked at, so that many at once count too."""
        since = time_text(at - WINDOW)
        client_key = hash_of(client.split("\n")[0])
        with self.store.writing() as writing:
            rows.forget_tries(writing, before=since)
            for key, most in (("account_key", MOST_FOR_ACCOUNT), ("client_key", MOST_FOR_CLIENT)):
                keys = {"account_key": "", "client_key": ""}
                keys[key] = account_key if key == "account_key" else client_key
                tries = rows.tries_since(writing, since=since, **keys)
                if len(tries) >= most:
                    wait = datetime.fromisoformat(tries[-most]) + WINDOW - at
                    raise _too_many(wait)
            rows.insert_try(
                writing,
                try_id=new_token(),
                account_key=account_key,
                client_key=client_key,
                at=time_text(at),
            )

    def _note_failure(self, account: Account | None, *, at: datetime) -> None:
        """What was typed is not kept: people type passwords into the wrong field."""
        who = account.user_id if account else "unknown"
        with self.store.writing() as writing:
            writing.note(Entry(time_text(at), NOBODY, "failed to log in", LOG_IN, who))


def _too_many(wait: timedelta) -> AccessRefused:
    minutes = max(1, -(-int(wait.total_seconds()) // 60))
    return AccessRefused(
        "too many tries to log in",
        expected=f"the next one in {minutes} minute{'' if minutes == 1 else 's'} or later",
        todo="Wait, or ask the administrator for a new link",
        code="ACC-004",
    )
