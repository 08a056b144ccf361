"""Open a network's accounts for the screens and for commands."""

import stat
from collections.abc import Mapping
from pathlib import Path

from qa.jobs.followup.opening import command_actor, open_record
from qa.jobs.users.accounts import user_named
from qa.jobs.users.hospital import Hospital, require_safe
from qa.jobs.users.log_in import FrontDoor
from qa.jobs.users.passwords import Passwords
from qa.model.accounts import AccountState
from qa.model.definitions import LogIn
from qa.model.errors import FollowupError
from qa.model.permissions import Actor
from qa.stores.followup.accounts import all_accounts, find_account
from qa.stores.followup.store import FollowupStore
from qa.stores.settings import load_network

ENVIRON_SECRET = "ELASTOQA_OIDC_SECRET"


def open_door(folder: Path, *, environ: Mapping[str, str]) -> FrontDoor:
    """Raises: NetworkFolderError, FollowupError FUP-001 to FUP-006."""
    settings = load_network(folder).log_in
    return FrontDoor(open_record(folder, environ=environ), settings, Passwords())


def open_hospital(
    folder: Path, store: FollowupStore, *, environ: Mapping[str, str]
) -> Hospital | None:
    """The hospital's log-in where network.toml names one.

    Raises: FollowupError USR-021 (not https), USR-022 (the file with the secret).
    """
    settings = load_network(folder).log_in
    if not settings.has_hospital:
        return None
    require_safe(settings.issuer)
    secret = environ.get(ENVIRON_SECRET, "") or _read_secret(folder, settings)
    return Hospital(store, settings.issuer, settings.client_id, secret)


def _read_secret(folder: Path, settings: LogIn) -> str:
    if not settings.secret_file:
        return ""
    path = folder / settings.secret_file
    try:
        is_private = not path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO)
        secret = path.read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError):
        is_private, secret = False, ""
    if not is_private or not secret:
        raise FollowupError(
            "the file with the secret of the hospital's log-in is missing, empty or open to others",
            where="network.toml, [log_in] secret_file",
            expected=f"a file readable by its owner only, or {ENVIRON_SECRET}",
            code="USR-022",
        )
    return secret


def link_of(folder: Path, token: str) -> str:
    """The address to hand over."""
    network = load_network(folder)
    root = network.log_in.public_url or f"http://127.0.0.1:{network.settings.port}"
    return f"{root.rstrip('/')}{network.server.path_prefix}link/{token}"


def acting_person(folder: Path, *, by: str, account: str, environ: Mapping[str, str]) -> Actor:
    """Who runs a command.

    Args:
        by: a name, or the e-mail of an account; the account's id then stands in the record, as it
            does for what it decides on the screens.
        account: e-mail of the account that the machine names; "" for none. It acts with its own
            roles; without one, whoever may write the folder acts with every role.
    Raises: FollowupError USR-006 when the machine names an account that is not active.
    """
    if account:
        return active_actor(folder, account, environ=environ)
    if "@" not in by:
        return command_actor(by)
    return command_actor(id_of_person(open_record(folder, environ=environ), by))


def id_of_person(store: FollowupStore, text: str) -> str:
    """Id of the account with this e-mail; else the text as it is.

    Example: 'ines@clinic.invalid' → 'u-1f0c…'; 'command line' → the same
    """
    if "@" not in text:
        return text
    with store.reading() as reading:
        known = find_account(reading, email=text.strip().casefold())
    return known.user_id if known else text


def names_of_people(store: FollowupStore) -> dict[str, str]:
    """Account's id → name, disabled accounts too: the record names people by their ids."""
    with store.reading() as reading:
        return {one.user_id: one.name for one in all_accounts(reading)}


def active_actor(folder: Path, email: str, *, environ: Mapping[str, str]) -> Actor:
    """Who acts under an account's name. Raises: FollowupError USR-006 when none such is active."""
    account = user_named(open_record(folder, environ=environ), email)
    if account.state is not AccountState.ACTIVE:
        raise FollowupError("this account is not active", where=account.email, code="USR-006")
    return account.actor
