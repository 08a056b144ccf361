"""Remove one person's rows on a lawful request."""

import argparse
import getpass
import sys
from collections.abc import Mapping
from typing import Any

from qa.cli.shared import add_command, now
from qa.cli.who import add_by, by_words
from qa.model.errors import WrongUse


def add_forget(commands: Any) -> None:
    parser = add_command(
        commands,
        "forget",
        run_forget_command,
        short="remove one person's rows on a lawful request",
        long="Remove one person's exams and rows in quarantine for good, bytes included. The "
        "number is asked for, so that it stands in no history of commands. Figures and packs that "
        "were issued stay; the record says that rows were removed, not whose.",
    )
    parser.add_argument(
        "--patient",
        metavar="NUMBER",
        default="-",
        help="the patient's number as in the exports (default, and '-': ask for it, or read one "
        "line from standard input)",
    )
    parser.add_argument("--reason", metavar="TEXT", help="why, for the record; name nobody")
    add_by(parser)


def run_forget_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.folder import find_key
    from qa.jobs.forget import forget_lines, run_forget

    key = find_key(arguments.network, environ)
    number = _ask() if arguments.patient == "-" else arguments.patient
    report = run_forget(
        arguments.network,
        number=number,
        key=key,
        at=now(),
        by=by_words(arguments),
        reason=arguments.reason,
    )
    print("\n".join(forget_lines(report)))
    return 0


def _ask() -> str:
    """The number from the keyboard, unseen and twice, or the first line of standard input."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    number = getpass.getpass("Patient's number (not shown): ")
    if getpass.getpass("The same once more: ") != number:
        raise WrongUse(
            "the two numbers differ", todo="Nothing was removed; try again", code="USE-007"
        )
    return number
