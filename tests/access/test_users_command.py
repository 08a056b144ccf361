"""`elastoqa users`, the account that a command is held to, and the first steps of a network."""

import re
from pathlib import Path

import pytest

from qa.cli import main
from qa.jobs.followup.opening import open_network
from qa.jobs.users.accounts import Grant, set_password
from qa.jobs.users.demo import PEOPLE, make_demo_accounts
from qa.jobs.users.log_in import FrontDoor
from qa.jobs.users.uses import EXPORTED, note_command_use
from qa.model.permissions import Role
from tests.access.people import AT, PASSWORD, make_account, quick_door

MANAGER = Grant((Role.QA_MANAGER,))
EMAIL = "ines@clinic.invalid"


@pytest.fixture
def folder(store, tmp_path: Path) -> Path:
    return tmp_path


def users(folder: Path, *words: str, environ: dict[str, str] | None = None) -> int:
    return main(["users", *words, "--network", str(folder)], environ or {})


def invite(folder: Path, *more: str) -> int:
    return users(folder, "invite", EMAIL, "--name", "Ines Vale", *more)


def test_first_administrator_is_invited_and_listed(folder, store, capsys) -> None:
    assert users(folder, "list") == 0
    assert "users invite EMAIL" in capsys.readouterr().out
    assert invite(folder, "--role", "administrator") == 0
    (token,) = re.findall(r"http://127\.0\.0\.1:8050/link/(\S+)", capsys.readouterr().out)
    assert users(folder, "list") == 0
    assert f"{EMAIL}  Ines Vale  administrator  invited" in capsys.readouterr().out
    assert users(folder, "list", "--json") == 0
    assert '"State": "invited"' in capsys.readouterr().out
    assert len(token) == 43


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("roles", EMAIL, "--role", "site lead", "--site", "north"), 0),
        (("reset", EMAIL), 0),
        (("logout-all", EMAIL), 0),
        (("disable", EMAIL), 0),
        (("roles", EMAIL, "--role", "emperor"), 24),
        (("roles", EMAIL, "--role", "site lead", "--site", "nowhere"), 24),
        (("disable", "nobody@clinic.invalid"), 24),
    ],
)
def test_each_change_works_or_is_refused_in_one_line(folder, capsys, words, code) -> None:
    invite(folder, "--role", "reviewer")
    capsys.readouterr()
    assert users(folder, *words) == code
    told = capsys.readouterr()
    assert "Traceback" not in told.err
    assert ("USR-" in told.err) == (code != 0)


def test_command_is_held_to_the_account_that_the_machine_names(folder, store, capsys) -> None:
    invite(folder, "--role", "reviewer")
    (token,) = re.findall(r"/link/(\S+)", capsys.readouterr().out)
    as_ines = {"ELASTOQA_ACCOUNT": EMAIL}
    assert users(folder, "list", environ=as_ines) == 24, "not active yet"
    set_password(store, token, PASSWORD, passwords=quick_door(store).passwords, at=AT)
    assert users(folder, "list", environ=as_ines) == 23
    assert "ACC-002" in capsys.readouterr().err
    assert main(["trail", "verify", "--network", str(folder)], as_ines) == 0


@pytest.mark.parametrize(
    ("environ", "more", "by"),
    [
        ({"ELASTOQA_ACCOUNT": EMAIL}, (), "account"),
        ({"ELASTOQA_ACCOUNT": EMAIL}, ("--by", EMAIL), "account"),
        ({}, ("--by", EMAIL.upper()), "account"),
        ({}, ("--by", "Petra (invented)"), "Petra (invented)"),
        ({}, (), "command line"),
    ],
)
def test_a_command_writes_the_account_into_the_trail_and_never_the_machines_user(
    folder, store, capsys, monkeypatch, environ, more, by
) -> None:
    monkeypatch.setenv("LOGNAME", "machine-user")
    ines = make_account(quick_door(store), open_network(folder), MANAGER, email=EMAIL)
    told = ("cases", "open", "--title", "Spread", "--why", "seen", "--owner", "lena")
    where = ("--due", "2030-01-01", "--network", str(folder))
    assert main([*told, *where, *more], environ) == 0
    with store.reading() as reading:
        (line,) = [one for one in reading.entries() if one.record_class == "case"]
    assert line.by == (ines.user_id if by == "account" else by)
    capsys.readouterr()
    assert main(["trail", "list", "--class", "case", "--network", str(folder)], environ) == 0
    shown = capsys.readouterr().out
    assert ("Una Brack" if by == "account" else by) in shown
    assert "machine-user" not in shown


def test_a_command_held_to_an_account_writes_under_no_other_name(folder, store, capsys) -> None:
    make_account(quick_door(store), open_network(folder), MANAGER, email=EMAIL)
    told = ["cases", "remind", "--by", "somebody else", "--network", str(folder)]
    assert main(told, {"ELASTOQA_ACCOUNT": EMAIL}) == 23
    assert "ACC-008" in capsys.readouterr().err


def test_demo_makes_one_account_for_each_role_and_only_once(folder, store) -> None:
    door: FrontDoor = quick_door(store)
    made = make_demo_accounts(door, open_network(folder), at=AT)
    assert [one.role for one in made] == list(PEOPLE) == list(Role)
    for one in made:
        viewer = door.log_in(one.email, one.password, client="127.0.0.1\nx", at=AT)
        assert viewer.actor.roles == (one.role,)
        assert viewer.account.name.endswith("(invented)")
    assert make_demo_accounts(door, open_network(folder), at=AT) == []


def test_init_says_how_to_make_the_first_administrator(tmp_path, capsys) -> None:
    assert main(["init", str(tmp_path / "ours")], {}) == 0
    assert "users invite EMAIL --name NAME --role administrator" in capsys.readouterr().out


def test_use_by_a_command_stands_in_the_trail(folder, store) -> None:
    note_command_use(folder, {}, EXPORTED, "exams to x.csv", by="una", at=AT)
    with store.reading() as reading:
        told = [(one.by, one.action, one.record_id) for one in reading.entries()]
    assert told == [("una", "exported", "exams to x.csv")]
