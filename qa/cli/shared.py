"""What every command shares: its help, the network option, the clock, the version."""

import argparse
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime, time
from importlib.metadata import version
from pathlib import Path
from typing import Any

from qa.model.errors import UserError, WrongUse
from qa.model.months import parse_month

Command = Callable[[argparse.Namespace, Mapping[str, str]], int]

EPILOG = (
    "elastoqa judges how exams were done, never what a patient has. It is not a diagnostic device."
)


WAIT_SECONDS = 10.0
"""How long a command waits while another one has the warehouse."""


def software_version() -> str:
    return version("elastography-qa")


def now() -> datetime:
    """The only clock of the commands."""
    return datetime.now(UTC)


def add_command(
    commands: Any, name: str, run: Command, *, short: str, long: str, network: bool = True
) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = commands.add_parser(
        name, help=short, description=long, epilog=EPILOG
    )
    if network:
        parser.add_argument(
            "--network",
            type=Path,
            default=Path("."),
            metavar="FOLDER",
            help="the network's folder, with network.toml in it (default: the current folder)",
        )
    parser.set_defaults(run=run, command=parser.prog.removeprefix("elastoqa "))
    return parser


def add_wait(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--wait",
        type=float,
        default=WAIT_SECONDS,
        metavar="SECONDS",
        help="how long to wait while another command uses the warehouse "
        f"(default: {WAIT_SECONDS:.0f})",
    )


def add_as_known_at(parser: argparse.ArgumentParser, *, help: str) -> None:
    parser.add_argument("--as-known-at", type=_moment, metavar="TIME", help=help)


def _moment(text: str) -> datetime:
    try:
        return parse_moment(text)
    except WrongUse as problem:
        raise argparse.ArgumentTypeError(problem.message) from None


def a_day(text: str) -> date:
    """The type of an option that names a day."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is no day like 2026-11-25") from None


def a_month(text: str) -> date:
    """The type of an option that names a month: its first day."""
    try:
        return parse_month(text)
    except UserError as problem:
        raise argparse.ArgumentTypeError(problem.message) from None


def parse_moment(text: str) -> datetime:
    """Read a moment: a time, in UTC where it names no zone, or a day, which means its end in UTC.

    Raises: WrongUse when the text is neither.
    Example: "2026-10-05" → 2026-10-05 23:59:59.999999 UTC
    """
    try:
        if len(text) == 10:
            return datetime.combine(date.fromisoformat(text), time.max, UTC)
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise WrongUse(
            f"'{text}' is no time",
            expected="for example 2026-10-05 (its end) or 2026-10-05T14:30 (UTC)",
            code="USE-026",
        ) from None
    return moment.astimezone(UTC) if moment.tzinfo else moment.replace(tzinfo=UTC)


def count_of(n: int, one: str) -> str:
    """Example: count_of(1, 'pack') → '1 pack'; count_of(1200, 'row') → '1,200 rows'"""
    return f"{n:,} {one}" if n == 1 else f"{n:,} {one}s"
