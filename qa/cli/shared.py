"""What every command shares: its help, the network option, the clock, the version."""

import argparse
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

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
    parser.set_defaults(run=run)
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
