"""The table of permissions, against the promises that were made about each role."""

import pytest

from qa.model.errors import AccessRefused
from qa.model.permissions import (
    GRANTS,
    READING,
    Actor,
    Permission,
    Reach,
    Role,
    may,
    require,
    sites_seen,
    suppress_small,
)

LEAD = Actor("lena", "Lena", (Role.SITE_LEAD,), sites=("north", "east"))
OPERATOR = Actor("olga", "Olga", (Role.OPERATOR,), operator_id="op-1")


def actor(role: Role) -> Actor:
    return Actor("u", "U", (role,), sites=("north",), operator_id="op-1")


@pytest.mark.parametrize("permission", Permission)
def test_nobody_may_nothing(permission: Permission) -> None:
    assert not may(None, permission)
    assert not may(None, permission, site_id="north", owner="")
    assert not may(Actor("x", "X", ()), permission, site_id="north", owner="x")


def test_reviewer_reads_everything_of_results_and_changes_nothing() -> None:
    assert set(GRANTS[Role.REVIEWER]) <= READING
    # Questions about data are the QA manager's until released; released ones come with the results.
    everything = READING - {Permission.OWN_ACCOUNT, Permission.SEE_INTEGRITY}
    assert not may(actor(Role.REVIEWER), Permission.SEE_INTEGRITY)
    assert {one for one in everything if may(actor(Role.REVIEWER), one)} == everything


def test_administrator_sees_no_results() -> None:
    seen = {one for one in Permission if may(actor(Role.ADMINISTRATOR), one)}
    # "The administrator … maps a file" (the promise of her story) needs Intake, and nothing more.
    assert {one.name for one in seen if one.name.startswith("SEE_")} == {
        "SEE_METHODS",
        "SEE_INTAKE",
    }
    assert {Permission.MANAGE_USERS, Permission.MANAGE_KEYS, Permission.BACK_UP} <= seen


def test_only_an_administrator_manages_users_keys_and_backup() -> None:
    for permission in (Permission.MANAGE_USERS, Permission.MANAGE_KEYS, Permission.BACK_UP):
        assert [role for role in Role if may(actor(role), permission)] == [Role.ADMINISTRATOR]


def test_only_the_manager_closes_and_dismisses() -> None:
    allowed = [role for role in Role if permission_somewhere(role, Permission.DECIDE_CASES)]
    assert allowed == [Role.QA_MANAGER]


def permission_somewhere(role: Role, permission: Permission) -> bool:
    return may(actor(role), permission, site_id="north", owner="op-1")


def test_site_lead_reaches_own_sites_only() -> None:
    for permission in (Permission.SEE_OPERATORS, Permission.SEE_EXAMS, Permission.WORK_CASES):
        assert may(LEAD, permission, site_id="north")
        assert not may(LEAD, permission, site_id="south")
        assert not may(LEAD, permission)
    assert sites_seen(LEAD, Permission.SEE_RESULTS, ["south", "east", "north"]) == ["east", "north"]


def test_operator_reaches_own_results_only() -> None:
    assert may(OPERATOR, Permission.SEE_RESULTS, site_id="north", owner="op-1")
    assert not may(OPERATOR, Permission.SEE_RESULTS, site_id="north", owner="op-2")
    assert not may(OPERATOR, Permission.SEE_RESULTS, site_id="north")
    results = [one for one in GRANTS[Role.OPERATOR].items() if one[0].name.startswith("SEE_")]
    assert {name for name, reach in results if reach is not Reach.SELF} == {
        Permission.SEE_METHODS,
        Permission.SEE_DOCUMENTS,
    }


def test_account_without_operator_owns_nothing_of_nobody() -> None:
    assert not may(Actor("x", "X", (Role.OPERATOR,)), Permission.SEE_RESULTS, owner="")


def test_several_roles_add_up() -> None:
    both = Actor("b", "B", (Role.ADMINISTRATOR, Role.REVIEWER))
    assert may(both, Permission.MANAGE_USERS)
    assert may(both, Permission.SEE_TRAIL)


def test_refusal_says_who_may() -> None:
    with pytest.raises(AccessRefused, match=r"ACC-001.*Log in first"):
        require(None, Permission.SEE_TRAIL)
    with pytest.raises(
        AccessRefused, match=r"ACC-002.*may not see the trail.*QA manager, reviewer"
    ):
        require(LEAD, Permission.SEE_TRAIL)
    with pytest.raises(AccessRefused, match="outside its own part"):
        require(LEAD, Permission.WORK_CASES, site_id="south")


@pytest.mark.parametrize(
    ("counts", "shown"),
    [
        ([4, 5, 6], [None, None, 6]),
        ([5, 6], [5, 6]),
        ([3, 40, 12], [None, 40, None]),
        ([3, 4, 12], [None, None, 12]),
        ([0, 50], [None, None]),
        ([None, 50], [None, 50]),
        ([], []),
    ],
)
def test_small_cells_cannot_be_worked_out(counts: list, shown: list) -> None:
    assert suppress_small(counts) == shown
