"""Accounts for tests: one for each role, all invented, with a quick password hash."""

from datetime import UTC, datetime

from argon2 import PasswordHasher
from flask.testing import FlaskClient

from qa.jobs.followup.opening import command_actor
from qa.jobs.users.accounts import Accounts, Grant, set_password
from qa.jobs.users.log_in import FrontDoor
from qa.jobs.users.passwords import Passwords
from qa.model.accounts import Account
from qa.model.definitions import LogIn, Network
from qa.model.permissions import Role
from qa.stores.followup.store import FollowupStore

AT = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
PASSWORD = "slow green harbour lamp"
QUICK = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
BASE = "http://127.0.0.1:8050"
SHOW_PAGE = ".._pages_content.children..._pages_store.data.."
HTML = {"Accept": "text/html"}
GRANTS = {
    Role.QA_MANAGER: Grant((Role.QA_MANAGER,)),
    Role.SITE_LEAD: Grant((Role.SITE_LEAD,), ("S3",)),
    Role.OPERATOR: Grant((Role.OPERATOR,), (), "31"),
    Role.REVIEWER: Grant((Role.REVIEWER,)),
    Role.ADMINISTRATOR: Grant((Role.ADMINISTRATOR,)),
}


def quick_door(store: FollowupStore) -> FrontDoor:
    return FrontDoor(store, LogIn(), Passwords(QUICK))


def email_of(role: Role) -> str:
    return f"{role.replace(' ', '.')}@clinic.invalid".casefold()


def make_account(
    door: FrontDoor, network: Network, grant: Grant, *, email: str, name: str = "Una Brack"
) -> Account:
    """An account that has set its password."""
    desk = Accounts(door.store, command_actor("tester"), AT)
    _, token = desk.invite(email=email, name=name, grant=grant, network=network)
    return set_password(door.store, token, PASSWORD, passwords=door.passwords, at=AT)


class Browser:
    """One person's browser: keeps cookies and sends what the page's forms would."""

    def __init__(self, client: FlaskClient) -> None:
        self.client = client

    def get(self, path: str, **headers: str):
        return self.client.get(path, headers={**HTML, **headers}, base_url=BASE)

    def cookie(self, name: str) -> str:
        found = self.client.get_cookie(name, domain="127.0.0.1")
        return found.value if found else ""

    def post(self, path: str, *, token: str | None = None, **fields: object):
        sent = {"csrf_token": self.cookie("_csrf_token") if token is None else token, **fields}
        return self.client.post(path, data=sent, headers=HTML, base_url=BASE)

    def post_json(self, path: str, body: object, *, token: str | None = None):
        headers = {"X-CSRFToken": self.cookie("_csrf_token") if token is None else token}
        return self.client.post(path, json=body, headers=headers, base_url=BASE)

    def log_in(self, email: str, password: str = PASSWORD, *, onward: str = ""):
        self.get("/log-in")
        return self.post("/log-in", email=email, password=password, next=onward)

    def navigate(self, path: str, search: str = ""):
        """What Dash asks for when an address is shown."""
        outputs = [("_pages_content", "children"), ("_pages_store", "data")]
        inputs = [("pathname", path), ("search", search)]
        body = {
            "output": SHOW_PAGE,
            "outputs": [{"id": id, "property": name} for id, name in outputs],
            "inputs": [
                {"id": "_pages_location", "property": name, "value": value}
                for name, value in inputs
            ],
            "changedPropIds": ["_pages_location.pathname"],
        }
        return self.post_json("/_dash-update-component", body)
