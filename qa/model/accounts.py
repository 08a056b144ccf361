"""People who may log in, as the follow-up store keeps them."""

from dataclasses import dataclass
from enum import StrEnum

from qa.model.permissions import Actor, Role


class AccountState(StrEnum):
    """Where an account stands."""

    INVITED = "invited"
    ACTIVE = "active"
    DISABLED = "disabled"


class LinkPurpose(StrEnum):
    """What a one-time link is for."""

    INVITATION = "invitation"
    RESET = "reset"


@dataclass(frozen=True)
class Account:
    """One row per account.

    Args:
        user_id: stable id; stands in events and in the trail.
        email: lower case, unique; what people log in with.
        password_hash: argon2id with its parameters and salt; None: none set yet.
        sites, operator_id: scope of the roles site lead and operator.
        generation: raised by logging out everywhere; older sessions end with it.
        subject: "issuer subject" of the hospital's log-in; None: not used yet.
        peer_key: random; orders unnamed peers, so that their numbers tell nothing.
        change_no: raised by every change; a stale form is refused by it.
    """

    user_id: str
    email: str
    name: str
    roles: tuple[Role, ...]
    sites: tuple[str, ...]
    operator_id: str
    state: AccountState
    password_hash: str | None
    generation: int
    subject: str | None
    peer_key: str
    made_at: str
    change_no: int

    @property
    def actor(self) -> Actor:
        return Actor(self.user_id, self.name, self.roles, self.sites, self.operator_id)

    @property
    def plain(self) -> dict[str, str]:
        """What the trail shows; no hash and no key."""
        return {
            "Name": self.name,
            "E-mail": self.email,
            "Roles": ", ".join(self.roles),
            "Sites": ", ".join(self.sites),
            "Operator": self.operator_id,
            "State": self.state,
            "Hospital log-in": "linked" if self.subject else "",
        }


@dataclass(frozen=True)
class Session:
    """Somebody who is logged in. Times: ISO text in UTC. client: digest of address and program."""

    session_hash: str
    user_id: str
    generation: int
    begun_at: str
    seen_at: str
    client: str


@dataclass(frozen=True)
class OneTimeLink:
    """An invitation or a reset. Only the token's hash is kept. used_at None: not used yet."""

    token_hash: str
    user_id: str
    purpose: LinkPurpose
    made_at: str
    expires_at: str
    used_at: str | None
