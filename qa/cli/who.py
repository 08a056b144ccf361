"""Who runs a command, as the record names it: never the log-in of the machine.

An account by ELASTOQA_ACCOUNT comes first; then what --by says, which is an account where it is an
account's e-mail; else the record says only that it came from the command line.
"""

import argparse
from collections.abc import Mapping

from qa.cli.rules import ENVIRON_ACCOUNT
from qa.model.permissions import Actor

UNNAMED = "command line"


def add_by(parser: argparse.ArgumentParser, *, does: str = "does it") -> argparse.ArgumentParser:
    parser.add_argument(
        "--by",
        metavar="NAME",
        help=f"who {does}: a name, or an account's e-mail (default: the account that "
        f"{ENVIRON_ACCOUNT} names)",
    )
    return parser


def by_words(arguments: argparse.Namespace) -> str:
    """For records that keep a name only; where an account is named, it stands in --by already."""
    return getattr(arguments, "by", None) or UNNAMED


def acting(arguments: argparse.Namespace, environ: Mapping[str, str]) -> Actor:
    """Who acts. Raises: AccessRefused ACC-008; FollowupError USR-006."""
    from qa.jobs.users.opening import acting_person

    return acting_person(
        arguments.network,
        by=by_words(arguments),
        account=environ.get(ENVIRON_ACCOUNT, ""),
        environ=environ,
    )
