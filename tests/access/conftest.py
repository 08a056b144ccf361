"""The screens with accounts: one for each role, over the sample snapshot."""

from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

import pytest
from dash import Dash

from dashboard.access import Access
from dashboard.app import create_app
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.opening import command_actor, open_record
from qa.jobs.users.log_in import FrontDoor
from qa.model.permissions import Role
from qa.stores.followup.store import FollowupStore
from tests.access.people import AT, GRANTS, Browser, email_of, make_account, quick_door
from tests.followup.notes import NETWORK_TEXT
from tests.pages.sample_published import sample_published
from tests.pages.test_try_file import Tools


@pytest.fixture
def store(tmp_path: Path) -> Iterator[FollowupStore]:
    (tmp_path / "network.toml").write_text(NETWORK_TEXT, encoding="utf-8")
    opened = open_record(tmp_path, environ={})
    yield opened
    opened.close()


@pytest.fixture
def door(store: FollowupStore) -> FrontDoor:
    return quick_door(store)


class Clock:
    now: datetime = AT

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def people(door: FrontDoor) -> None:
    network = sample_published().network
    for role, grant in GRANTS.items():
        make_account(door, network, grant, email=email_of(role), name=f"Person {role} (invented)")


class MakeBrowser:
    """Gives browsers that nobody has used, for one app."""

    def __init__(self, app: Dash) -> None:
        self.app = app

    def __call__(self) -> Browser:
        return Browser(self.app.server.test_client())


@pytest.fixture
def make_browser(door: FrontDoor, clock: Clock) -> MakeBrowser:
    """Browsers for the app with accounts."""
    access = Access(door, lambda: sample_published().network, clock)
    app = create_app(
        sample_published,
        profile_tools=Tools(),
        make_desk=lambda: CaseDesk(door.store, command_actor("server"), clock()),
        access=access,
    )
    return MakeBrowser(app)


@pytest.fixture
def browser_of(people: None, make_browser: MakeBrowser) -> Callable[[Role], Browser]:
    """A browser in which somebody of this role is logged in."""

    def logged_in(role: Role) -> Browser:
        browser = make_browser()
        assert browser.log_in(email_of(role)).status_code == 303
        return browser

    return logged_in
