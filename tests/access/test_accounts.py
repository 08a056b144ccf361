"""Accounts in the store: invitation, reset, roles, ends; on SQLite and on PostgreSQL."""

from dataclasses import replace
from datetime import timedelta

import pytest

from qa.jobs.followup.opening import command_actor
from qa.jobs.followup.trail import verify_trail
from qa.jobs.users.accounts import Accounts, Grant, give_roles, link_owner, set_password
from qa.model.accounts import AccountState
from qa.model.errors import AccessRefused, FollowupError
from qa.model.permissions import Actor, Role
from tests.access.people import AT, PASSWORD, make_account, quick_door
from tests.followup.conftest import network_folder, store  # noqa: F401 - both databases
from tests.pages.sample_published import sample_published

NETWORK = sample_published().network
REVIEWER = Grant((Role.REVIEWER,))
CLIENT = "127.0.0.1\nbrowser"


@pytest.fixture
def door(store):  # noqa: F811
    return quick_door(store)


@pytest.fixture
def desk(door) -> Accounts:
    return Accounts(door.store, command_actor("tester"), AT)


def invite(desk: Accounts, email="Ines@Clinic.invalid", grant=REVIEWER):
    return desk.invite(email=email, name="Ines Vale", grant=grant, network=NETWORK)


def refused(code: str):
    return pytest.raises((FollowupError, AccessRefused), match=code)


def test_invited_person_sets_a_password_once_and_logs_in(door, desk) -> None:
    account, token = invite(desk)
    assert account.state is AccountState.INVITED
    assert link_owner(door.store, token, at=AT).email == "ines@clinic.invalid"
    with refused("ACC-003"):
        door.log_in(account.email, PASSWORD, client=CLIENT, at=AT)
    set_password(door.store, token, PASSWORD, passwords=door.passwords, at=AT)
    viewer = door.log_in(" INES@clinic.invalid ", PASSWORD, client=CLIENT, at=AT)
    assert viewer.actor.roles == (Role.REVIEWER,)
    with refused("USR-009"):
        set_password(door.store, token, "quite another one", passwords=door.passwords, at=AT)
    assert verify_trail(door.store).is_whole


@pytest.mark.parametrize(
    ("after", "works"),
    [(timedelta(days=7, seconds=-1), True), (timedelta(days=7), False), (timedelta(8), False)],
)
def test_invitation_runs_out_after_seven_days(door, desk, after, works) -> None:
    _, token = invite(desk)
    if works:
        assert link_owner(door.store, token, at=AT + after)
        return
    with refused("USR-009"):
        link_owner(door.store, token, at=AT + after)


def test_reset_ends_the_password_the_sessions_and_the_older_link(door, desk) -> None:
    account = make_account(door, NETWORK, REVIEWER, email="ines@clinic.invalid")
    viewer = door.log_in(account.email, PASSWORD, client=CLIENT, at=AT)
    _, first = desk.reset(account.user_id)
    _, second = desk.reset(account.user_id)
    assert door.viewer(viewer.token, client=CLIENT, at=AT) is None
    with refused("ACC-003"):
        door.log_in(account.email, PASSWORD, client=CLIENT, at=AT)
    with refused("USR-009"):
        link_owner(door.store, first, at=AT)
    with refused("USR-009"):
        link_owner(door.store, second, at=AT + timedelta(hours=2))
    set_password(door.store, second, PASSWORD + "s", passwords=door.passwords, at=AT)
    assert door.log_in(account.email, PASSWORD + "s", client=CLIENT, at=AT)


def test_disabled_account_is_out_at_once_and_its_links_are_dead(door, desk) -> None:
    account = make_account(door, NETWORK, REVIEWER, email="ines@clinic.invalid")
    viewer = door.log_in(account.email, PASSWORD, client=CLIENT, at=AT)
    _, token = invite(desk, "other@clinic.invalid")
    other = link_owner(door.store, token, at=AT)
    for one in (account, other):
        desk.disable(one.user_id)
    assert door.viewer(viewer.token, client=CLIENT, at=AT) is None
    with refused("USR-009"):
        link_owner(door.store, token, at=AT)
    with refused("ACC-003"):
        door.log_in(account.email, PASSWORD, client=CLIENT, at=AT)


def test_new_roles_hold_with_the_next_click(door, desk) -> None:
    account = make_account(door, NETWORK, REVIEWER, email="ines@clinic.invalid")
    viewer = door.log_in(account.email, PASSWORD, client=CLIENT, at=AT)
    desk.change(account.user_id, grant=Grant((Role.SITE_LEAD,), ("S1",)), network=NETWORK)
    now = door.viewer(viewer.token, client=CLIENT, at=AT)
    assert now is not None
    assert (now.actor.roles, now.actor.sites) == ((Role.SITE_LEAD,), ("S1",))


def test_database_holds_no_password_token_or_session(door, desk) -> None:
    account, token = invite(desk)
    set_password(door.store, token, PASSWORD, passwords=door.passwords, at=AT)
    viewer = door.log_in(account.email, PASSWORD, client=CLIENT, at=AT)
    with door.store.reading() as reading:
        tables = ("accounts", "one_time_links", "sessions", "log_in_tries", "trail")
        rows = [
            repr(reading.connection.exec_driver_sql(f"SELECT * FROM {one}").fetchall())
            for one in tables
        ]
    for secret in (PASSWORD, token, viewer.token):
        assert not any(secret in one for one in rows)
    assert "$argon2id$" in rows[0]
    assert "$argon2id$" not in rows[-1]


@pytest.mark.parametrize(
    ("grant", "code"),
    [
        (Grant(()), "USR-003"),
        (Grant((Role.SITE_LEAD,)), "USR-004"),
        (Grant((Role.SITE_LEAD,), ("S1", "nowhere")), "USR-004"),
        (Grant((Role.REVIEWER,), ("S1",)), "USR-004"),
        (Grant((Role.OPERATOR,)), "USR-005"),
        (Grant((Role.OPERATOR,), (), "99"), "USR-005"),
        (Grant((Role.REVIEWER,), (), "31"), "USR-005"),
    ],
)
def test_scope_that_does_not_fit_the_roles_is_refused(desk, grant, code) -> None:
    with refused(code):
        invite(desk, grant=grant)


@pytest.mark.parametrize("email", ["", "x", "a@b@c", "a b@c", "<a@b>", "a@b\x00", "a@b, c@d"])
def test_bad_email_is_refused(desk, email) -> None:
    with refused("USR-001|FUP-01"):
        invite(desk, email)


def test_email_has_one_account_whatever_its_case(desk) -> None:
    invite(desk)
    with refused("USR-002"):
        invite(desk, "INES@clinic.INVALID")


def test_unknown_role_is_refused() -> None:
    with refused("USR-003"):
        give_roles(["emperor"], [], "")


def test_stale_form_is_refused_and_changes_nothing(desk) -> None:
    account, _ = invite(desk)
    desk.change(account.user_id, grant=Grant((Role.ADMINISTRATOR,)), network=NETWORK)
    with refused("USR-007"):
        desk.change(account.user_id, grant=REVIEWER, network=NETWORK, seen_no=account.change_no)
    assert desk.list()[0].roles == (Role.ADMINISTRATOR,)


@pytest.mark.parametrize("role", [one for one in Role if one is not Role.ADMINISTRATOR])
def test_only_administrators_touch_accounts(desk, role) -> None:
    account, _ = invite(desk)
    other = replace(desk, actor=Actor("u", "U", (role,), ("S1",), "31"))
    for act in (other.reset, other.disable, other.log_out_everywhere):
        with refused("ACC-002"):
            act(account.user_id)
    with refused("ACC-002"):
        invite(other, "x@y.invalid")
    with refused("ACC-002"):
        other.list()


def test_administrator_does_not_change_the_own_account(desk) -> None:
    account, _ = invite(desk, grant=Grant((Role.ADMINISTRATOR,)))
    own = replace(desk, actor=account.actor)
    more = Grant((Role.ADMINISTRATOR, Role.QA_MANAGER))
    with refused("USR-008"):
        own.change(account.user_id, grant=more, network=NETWORK)
    with refused("USR-008"):
        own.disable(account.user_id)


@pytest.mark.parametrize(
    ("password", "fits"),
    [
        ("elevenchars", False),
        ("twelve chars", True),
        ("x" * 12, False),
        ("abcdabcdabcd", False),
        ("vale of the river", False),
        ("ines@clinic.invalid", False),
        ("x" * 300, False),
        ("пароль из слов", True),
    ],
)
def test_which_passwords_are_taken(door, desk, password, fits) -> None:
    _, token = invite(desk)
    if fits:
        assert set_password(door.store, token, password, passwords=door.passwords, at=AT)
        return
    with refused("USR-010"):
        set_password(door.store, token, password, passwords=door.passwords, at=AT)
    assert link_owner(door.store, token, at=AT), "a refused password leaves the link"
