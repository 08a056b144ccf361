"""Say what is in, what waits and what is late."""

import argparse
import json
from collections.abc import Mapping
from typing import Any

from qa.cli.shared import add_as_known_at, add_command, now


def add_status(commands: Any) -> None:
    parser = add_command(
        commands,
        "status",
        run_status_command,
        short="say what is in, what waits, and what is late",
        long="Say what the network folder holds: exams by site, months that are late, partial or "
        "suddenly thin, closed months and what was restated since, rows in quarantine, refused "
        "files, and whether what is published is up to date.",
    )
    parser.add_argument("--json", action="store_true", help="for programs")
    add_as_known_at(parser, help="what was known then (a day means its end; UTC)")


def run_status_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.status import find_status, status_lines

    status = find_status(arguments.network, at=now(), as_known_at=arguments.as_known_at)
    if arguments.json:
        print(json.dumps(status.to_json(), indent=2, ensure_ascii=False))
    else:
        print("\n".join(status_lines(status)))
    return 0
