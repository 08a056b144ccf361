"""Take packs and reminders to people."""

import argparse
from collections.abc import Mapping
from typing import Any

from qa.cli.shared import add_command, now
from qa.cli.who import acting, add_by
from qa.model.months import month_name, parse_month


def add_deliver(commands: Any) -> None:
    parser = add_command(
        commands,
        "deliver",
        run_deliver_command,
        short="send packs and reminders that have not gone out",
        long="Send the newest pack of each site to its leads and into the shared folder, and the "
        "reminders that wait; read mail that came back. What has gone out is not sent again.",
    )
    add_by(parser)
    parser.add_argument(
        "--month", metavar="YYYY-MM", help="the month (default: the newest with packs)"
    )


def run_deliver_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.delivery import deliver_all

    month = parse_month(arguments.month) if arguments.month else None
    by = acting(arguments, environ).user_id
    report = deliver_all(arguments.network, month=month, by=by, at=now(), environ=environ)
    print(f"Packs of {month_name(report.month)}:")
    for line in report.lines:
        print(line)
    report.raise_for_failed()
    return 0
