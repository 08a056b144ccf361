"""Say what is in, what waits and what is late."""

import argparse
import json
from collections.abc import Mapping
from typing import Any

from qa.cli.shared import add_command


def add_status(commands: Any) -> None:
    parser = add_command(
        commands,
        "status",
        run_status_command,
        short="say what is in, what waits, and what is late",
        long="Say what the network folder holds: exams by site, late sites, rows in quarantine, "
        "refused files, and whether what is published is up to date.",
    )
    parser.add_argument("--json", action="store_true", help="for programs")


def run_status_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.status import find_status, status_lines

    status = find_status(arguments.network)
    if arguments.json:
        print(json.dumps(status.to_json(), indent=2, ensure_ascii=False))
    else:
        print("\n".join(status_lines(status)))
    return 0
