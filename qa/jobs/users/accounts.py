"""Invite people, change what they may, end accounts. Each change stands in the trail."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import NoReturn

from qa.followup.records import clean_text, words_of_change
from qa.jobs.users.passwords import Passwords, check_new_password
from qa.jobs.users.tokens import hash_of, new_id, new_token
from qa.model.accounts import Account, AccountState, LinkPurpose, OneTimeLink
from qa.model.definitions import Network
from qa.model.errors import FollowupError
from qa.model.permissions import Actor, Permission, Role, require
from qa.model.record import Entry, time_text
from qa.stores.followup import accounts as rows
from qa.stores.followup.store import FollowupStore, Reading, Writing

ACCOUNT = "account"
"""Class of the trail's lines about accounts."""
INVITATION_DAYS, RESET_HOURS = 7, 2
Change = Callable[[Account], Account]
_EMAIL = re.compile(r"[^\s@<>\"',;]+@[^\s@<>\"',;]+")


@dataclass(frozen=True)
class Grant:
    """What an account may: roles and their scope."""

    roles: tuple[Role, ...]
    sites: tuple[str, ...] = ()
    operator_id: str = ""


@dataclass(frozen=True)
class Accounts:
    """Somebody at work on accounts: the store, who it is, and now (UTC)."""

    store: FollowupStore
    actor: Actor | None
    at: datetime

    def list(self) -> list[Account]:
        """By name. Raises: AccessRefused."""
        require(self.actor, Permission.MANAGE_USERS)
        with self.store.reading() as reading:
            return rows.all_accounts(reading)

    def invite(
        self, *, email: str, name: str, grant: Grant, network: Network
    ) -> tuple[Account, str]:
        """Make an account without a password.

        Returns: the account, and the token of the link with which its owner sets one.
        Raises: AccessRefused; FollowupError USR-001 (e-mail), USR-002 (has an account),
            USR-003 to USR-005 (scope).
        """
        actor = require(self.actor, Permission.MANAGE_USERS)
        _check_grant(grant, network)
        account = Account(
            user_id=new_id(),
            email=clean_email(email),
            name=clean_text(name, field="name", longest=100),
            roles=grant.roles,
            sites=grant.sites,
            operator_id=grant.operator_id,
            state=AccountState.INVITED,
            password_hash=None,
            generation=1,
            subject=None,
            peer_key=new_token(),
            made_at=time_text(self.at),
            change_no=1,
        )
        with self.store.writing() as writing:
            if rows.find_account(writing, email=account.email):
                raise FollowupError(
                    "this e-mail has an account already", where=account.email, code="USR-002"
                )
            rows.insert_account(writing, account)
            self._note(writing, actor, "invited", None, account)
            return account, self._link(writing, account, LinkPurpose.INVITATION)

    def change(
        self, user_id: str, *, grant: Grant, network: Network, seen_no: int | None = None
    ) -> Account:
        """Other roles or another scope; takes force with the person's next click.

        Raises: AccessRefused; FollowupError USR-003 to USR-008.
        """
        _check_grant(grant, network)

        def changed(old: Account) -> Account:
            return replace(old, roles=grant.roles, sites=grant.sites, operator_id=grant.operator_id)

        return self._change(user_id, "changed roles", changed, seen_no=seen_no)

    def disable(self, user_id: str, *, seen_no: int | None = None) -> Account:
        """End an account: nobody logs in with it, and whoever is logged in is out."""

        def ended(old: Account) -> Account:
            return replace(old, state=AccountState.DISABLED, generation=old.generation + 1)

        return self._change(user_id, "disabled", ended, seen_no=seen_no, is_leaving=True)

    def reset(self, user_id: str, *, seen_no: int | None = None) -> tuple[Account, str]:
        """Take the password away and log the person out; also opens a disabled account again.

        Returns: the account, and the token of the link with which its owner sets a new one.
        """

        def emptied(old: Account) -> Account:
            return replace(
                old,
                state=AccountState.INVITED,
                password_hash=None,
                generation=old.generation + 1,
            )

        account = self._change(user_id, "reset password", emptied, seen_no=seen_no, is_leaving=True)
        with self.store.writing() as writing:
            return account, self._link(writing, account, LinkPurpose.RESET)

    def log_out_everywhere(self, user_id: str) -> Account:
        """End every session of somebody; of oneself everybody may."""

        def raised(old: Account) -> Account:
            return replace(old, generation=old.generation + 1)

        if self.actor is not None and self.actor.user_id == user_id:
            with self.store.writing() as writing:
                return self._replace(writing, self.actor, user_id, "logged out everywhere", raised)
        return self._change(user_id, "logged out everywhere", raised)

    # Parts

    def _change(
        self,
        user_id: str,
        action: str,
        change: Change,
        *,
        seen_no: int | None = None,
        is_leaving: bool = False,
    ) -> Account:
        actor = require(self.actor, Permission.MANAGE_USERS)
        if actor.user_id == user_id:
            raise FollowupError(
                "nobody changes the own account's roles or state",
                expected="another administrator, or the command 'elastoqa users'",
                code="USR-008",
            )
        with self.store.writing() as writing:
            account = self._replace(writing, actor, user_id, action, change, seen_no=seen_no)
            if is_leaving:
                rows.end_links(writing, user_id, at=time_text(self.at))
            return account

    def _replace(
        self,
        writing: Writing,
        actor: Actor,
        user_id: str,
        action: str,
        change: Change,
        *,
        seen_no: int | None = None,
    ) -> Account:
        old = require_account(writing, user_id)
        if seen_no is not None and seen_no != old.change_no:
            raise FollowupError(
                "somebody else changed this account since you opened it",
                where=old.email,
                expected=f"the newest state: {'; '.join(f'{k} {v}' for k, v in old.plain.items())}",
                todo="Look at it again; nothing of yours was written",
                code="USR-007",
            )
        new = replace(change(old), change_no=old.change_no + 1)
        rows.replace_account(writing, new)
        if new.generation != old.generation:
            rows.delete_sessions(writing, user_id=user_id)
        self._note(writing, actor, action, old, new)
        return new

    def _link(self, writing: Writing, account: Account, purpose: LinkPurpose) -> str:
        token = new_token()
        is_invitation = purpose is LinkPurpose.INVITATION
        lasts = timedelta(days=INVITATION_DAYS) if is_invitation else timedelta(hours=RESET_HOURS)
        link = OneTimeLink(
            token_hash=hash_of(token),
            user_id=account.user_id,
            purpose=purpose,
            made_at=time_text(self.at),
            expires_at=time_text(self.at + lasts),
            used_at=None,
        )
        rows.insert_link(writing, link)
        return token

    def _note(
        self, writing: Writing, actor: Actor, action: str, old: Account | None, new: Account
    ) -> None:
        before, after = words_of_change(old.plain if old else {}, new.plain)
        entry = Entry(
            time_text(self.at), actor.user_id, action, ACCOUNT, new.user_id, None, before, after
        )
        writing.note(entry)


def require_account(reading: Reading, user_id: str) -> Account:
    """Raises: FollowupError USR-006 when there is no such account."""
    account = rows.find_account(reading, user_id=user_id) if user_id else None
    if account is None:
        raise FollowupError(
            f"there is no account '{user_id[:60]}'",
            todo="See 'elastoqa users list'; nothing was changed",
            code="USR-006",
        )
    return account


def clean_email(text: str) -> str:
    """Lower case, trimmed. Raises: FollowupError USR-001 when it is no address."""
    email = plain_email(clean_text(text, field="e-mail", longest=200))
    if not _EMAIL.fullmatch(email):
        raise FollowupError(
            "this is no e-mail address", where="e-mail", expected="name@place", code="USR-001"
        )
    return email


def plain_email(text: str) -> str:
    """An e-mail as accounts are found by: low, ASCII; "" for what holds any other letter.

    Letters that only look like one, or become one when they are lowered (the Kelvin sign), must
    not lead to somebody else's account.
    """
    email = text.strip()
    return email.lower() if email.isascii() and email.isprintable() else ""


def _check_grant(grant: Grant, network: Network) -> None:
    def refuse(what: str, expected: str, code: str) -> NoReturn:
        raise FollowupError(what, where="roles", expected=expected, code=code)

    if not grant.roles:
        refuse("no role is given", f"one of {', '.join(Role)}", "USR-003")
    unknown = [site for site in grant.sites if network.site(site) is None]
    if unknown or bool(grant.sites) != (Role.SITE_LEAD in grant.roles):
        what = f"the network has no site '{unknown[0][:60]}'" if unknown else "sites do not fit"
        refuse(what, "sites of network.toml for a site lead, and for nobody else", "USR-004")
    is_unknown = bool(grant.operator_id) and network.operator(grant.operator_id) is None
    if is_unknown or bool(grant.operator_id) != (Role.OPERATOR in grant.roles):
        refuse(
            "the operator does not fit",
            "an operator of network.toml for the role operator, and for no other",
            "USR-005",
        )


def link_owner(store: FollowupStore, token: str, *, at: datetime) -> Account:
    """Whose link this is. Raises: FollowupError USR-009 when it is used up, too old or none."""
    with store.reading() as reading:
        return _link_owner(reading, token, at=at)


def _link_owner(reading: Reading, token: str, *, at: datetime) -> Account:
    link = rows.find_link(reading, hash_of(token))
    account = rows.find_account(reading, user_id=link.user_id) if link else None
    is_open = link is not None and link.used_at is None and time_text(at) < link.expires_at
    if account is None or not is_open or account.state is not AccountState.INVITED:
        raise FollowupError(
            "this link is used up, too old, or was cut off on its way",
            todo="Ask the administrator for a new one",
            code="USR-009",
        )
    return account


def set_password(
    store: FollowupStore, token: str, password: str, *, passwords: Passwords, at: datetime
) -> Account:
    """The owner of a link sets the password; the link is used up.

    Raises: FollowupError USR-009 (the link), USR-010 (the password).
    """
    owner = link_owner(store, token, at=at)
    check_new_password(password, email=owner.email, name=owner.name)
    kept = passwords.hash(password)
    with store.writing() as writing:
        owner = _link_owner(writing, token, at=at)
        rows.use_link(writing, hash_of(token), at=time_text(at))
        desk = Accounts(store, owner.actor, at)

        def opened(old: Account) -> Account:
            return replace(
                old,
                state=AccountState.ACTIVE,
                password_hash=kept,
                generation=old.generation + 1,
            )

        return desk._replace(writing, owner.actor, owner.user_id, "set password", opened)


def user_named(store: FollowupStore, text: str) -> Account:
    """The account with an id or an e-mail. Raises: FollowupError USR-006."""
    with store.reading() as reading:
        found = rows.find_account(reading, email=plain_email(text))
        return found or require_account(reading, text.strip())


def give_roles(roles: Sequence[str], sites: Sequence[str], operator_id: str) -> Grant:
    """A grant from a form's or a command's words. Raises: FollowupError USR-003."""
    unknown = [one for one in roles if one not in list(Role)]
    if unknown:
        raise FollowupError(
            f"there is no role '{unknown[0][:60]}'",
            where="roles",
            expected=", ".join(Role),
            code="USR-003",
        )
    return Grant(
        tuple(Role(one) for one in dict.fromkeys(roles)),
        tuple(dict.fromkeys(site for site in sites if site)),
        operator_id,
    )
