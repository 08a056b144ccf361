"""Who may log in to the screens."""

import argparse
import json
from collections.abc import Mapping
from typing import Any

from qa.cli.shared import add_command, now
from qa.cli.who import acting


def add_users(commands: Any) -> None:
    parser = add_command(
        commands,
        "users",
        run_list,
        short="who may log in to the screens, and what each may",
        long="Accounts of the screens. Once there is one, the screens ask everybody to log in. "
        "Whoever runs commands here can read this folder anyway, so commands ask for no password; "
        "the trail says under which name of this machine they were run.",
        network=False,
    )
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    _add_list(actions)
    _add_invite(actions)
    _add_roles(actions)
    _add_reset(actions)
    _add_disable(actions)
    _add_logout_all(actions)


def _add_list(actions: Any) -> None:
    parser = add_command(actions, "list", run_list, short="all accounts", long="All accounts.")
    parser.add_argument("--json", action="store_true", help="for a program")


def _add_grant(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--role",
        action="append",
        required=True,
        metavar="ROLE",
        help="'QA manager', 'site lead', 'operator', 'reviewer' or 'administrator'; may be "
        "given again",
    )
    parser.add_argument(
        "--site",
        action="append",
        default=[],
        metavar="S",
        help="a site lead's site; again for more",
    )
    parser.add_argument("--operator", default="", metavar="ID", help="which operator it is")


def _add_invite(actions: Any) -> None:
    parser = add_command(
        actions,
        "invite",
        run_invite,
        short="make an account",
        long="Make an account and print the link with which its owner sets a password. It works "
        "once, for 7 days.",
    )
    parser.add_argument("email", metavar="EMAIL", help="what the person logs in with")
    parser.add_argument("--name", required=True, metavar="NAME", help="as others see it")
    _add_grant(parser)


def _add_roles(actions: Any) -> None:
    parser = add_command(
        actions,
        "roles",
        run_roles,
        short="say anew what an account may",
        long="Give an account these roles and this scope, in place of those it had.",
    )
    _add_who(parser)
    _add_grant(parser)


def _add_reset(actions: Any) -> None:
    parser = add_command(
        actions,
        "reset",
        run_reset,
        short="a new link to set a password",
        long="Take the password away, log the person out and print a link that works once, for 2 "
        "hours. Opens a disabled account again.",
    )
    _add_who(parser)


def _add_disable(actions: Any) -> None:
    parser = add_command(
        actions,
        "disable",
        run_disable,
        short="end an account",
        long="End an account: who is logged in with it is out. What the person did stays.",
    )
    _add_who(parser)


def _add_logout_all(actions: Any) -> None:
    parser = add_command(
        actions,
        "logout-all",
        run_logout_all,
        short="log somebody out everywhere",
        long="End every session of an account.",
    )
    _add_who(parser)


def _add_who(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("who", metavar="WHO", help="e-mail or id of the account")


def _desk(arguments: argparse.Namespace, environ: Mapping[str, str]) -> Any:
    from qa.jobs.followup.opening import open_record
    from qa.jobs.users.accounts import Accounts

    store = open_record(arguments.network, environ=environ)
    return Accounts(store, acting(arguments, environ), now())


def run_list(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    accounts = _desk(arguments, environ).list()
    if arguments.json:
        lines = [{"id": one.user_id, **one.plain} for one in accounts]
        print(json.dumps(lines, indent=1, ensure_ascii=False))
        return 0
    for one in accounts:
        scope = ", ".join(one.sites) or one.operator_id
        roles = ", ".join(one.roles) + (f" ({scope})" if scope else "")
        print(f"{one.email}  {one.name}  {roles}  {one.state}  {one.user_id}")
    if not accounts:
        print("There is no account. The first: elastoqa users invite EMAIL --name NAME \\")
        print("  --role administrator")
    return 0


def run_invite(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.opening import open_network

    account, token = _desk(arguments, environ).invite(
        email=arguments.email,
        name=arguments.name,
        grant=_grant(arguments),
        network=open_network(arguments.network),
    )
    print(f"{account.name} is invited ({', '.join(account.roles)}).")
    _print_link(arguments, token)
    return 0


def run_roles(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.opening import open_network

    account = _desk(arguments, environ).change(
        _user_id(arguments, environ),
        grant=_grant(arguments),
        network=open_network(arguments.network),
    )
    print(f"{account.name}: {', '.join(account.roles)}.")
    return 0


def run_reset(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    account, token = _desk(arguments, environ).reset(_user_id(arguments, environ))
    print(f"{account.name} is logged out and sets a new password.")
    _print_link(arguments, token)
    return 0


def run_disable(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    account = _desk(arguments, environ).disable(_user_id(arguments, environ))
    print(f"{account.name} can no longer log in.")
    return 0


def run_logout_all(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    account = _desk(arguments, environ).log_out_everywhere(_user_id(arguments, environ))
    print(f"{account.name} is logged out everywhere.")
    return 0


def _grant(arguments: argparse.Namespace) -> Any:
    from qa.jobs.users.accounts import give_roles

    return give_roles(arguments.role, arguments.site, arguments.operator)


def _user_id(arguments: argparse.Namespace, environ: Mapping[str, str]) -> str:
    from qa.jobs.followup.opening import open_record
    from qa.jobs.users.accounts import user_named

    return user_named(open_record(arguments.network, environ=environ), arguments.who).user_id


def _print_link(arguments: argparse.Namespace, token: str) -> None:
    from qa.jobs.users.opening import link_of

    print("Hand this link over, to this person only; it is as good as a password:")
    print(f"  {link_of(arguments.network, token)}")
