"""Accounts of the invented demo network: one for each role, with passwords said once."""

from dataclasses import dataclass
from datetime import datetime

from qa.jobs.followup.opening import command_actor
from qa.jobs.users.accounts import Accounts, Grant, set_password
from qa.jobs.users.log_in import FrontDoor
from qa.jobs.users.tokens import new_token
from qa.model.definitions import Network
from qa.model.permissions import Role

PEOPLE: dict[Role, str] = {
    Role.QA_MANAGER: "Quill Margrave",
    Role.SITE_LEAD: "Senna Lindqvale",
    Role.OPERATOR: "Orrin Pellworth",
    Role.REVIEWER: "Reva Thornby",
    Role.ADMINISTRATOR: "Adair Minsk",
}
"""Invented names."""


@dataclass(frozen=True)
class DemoAccount:
    role: Role
    scope: str
    email: str
    password: str


def make_demo_accounts(door: FrontDoor, network: Network, *, at: datetime) -> list[DemoAccount]:
    """One account for each role; none where there are accounts already."""
    if not door.is_open():
        return []
    desk = Accounts(door.store, command_actor("demo"), at)
    made = []
    for role, name in PEOPLE.items():
        sites, operator_id = _scope(role, network)
        grant = Grant((role,), sites, operator_id)
        email = f"{role.replace(' ', '-').casefold()}@demo.invalid"
        _, token = desk.invite(email=email, name=f"{name} (invented)", grant=grant, network=network)
        password = new_token()[:16]
        set_password(door.store, token, password, passwords=door.passwords, at=at)
        made.append(DemoAccount(role, ", ".join(sites) or operator_id, email, password))
    return made


def _scope(role: Role, network: Network) -> tuple[tuple[str, ...], str]:
    site = network.sites[0].id
    if role is Role.SITE_LEAD:
        return (site,), ""
    own = [one.id for one in network.operators if site in one.sites]
    return (), own[0] if role is Role.OPERATOR and own else ""
