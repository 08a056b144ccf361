"""Open a network's accounts for the screens and for commands."""

import stat
from collections.abc import Mapping
from pathlib import Path

from qa.jobs.followup.opening import open_record
from qa.jobs.users.accounts import user_named
from qa.jobs.users.hospital import Hospital, require_safe
from qa.jobs.users.log_in import FrontDoor
from qa.jobs.users.passwords import Passwords
from qa.model.accounts import AccountState
from qa.model.definitions import LogIn
from qa.model.errors import FollowupError
from qa.model.permissions import Actor
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
    return f"{root.rstrip('/')}/link/{token}"


def active_actor(folder: Path, email: str, *, environ: Mapping[str, str]) -> Actor:
    """Who acts under an account's name. Raises: FollowupError USR-006 when none such is active."""
    account = user_named(open_record(folder, environ=environ), email)
    if account.state is not AccountState.ACTIVE:
        raise FollowupError("this account is not active", where=account.email, code="USR-006")
    return account.actor
