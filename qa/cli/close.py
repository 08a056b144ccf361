"""Close a month."""

import argparse
from collections.abc import Mapping
from typing import Any

from qa.cli.shared import add_command, now
from qa.model.months import month_name, parse_month


def add_close(commands: Any) -> None:
    parser = add_command(
        commands,
        "close",
        run_close_command,
        short="close a month: what arrives later counts as a restatement",
        long="Close a month for the whole network. Nothing is locked: what arrives later still "
        "counts, but as a restatement, shown by site and month in 'elastoqa status'. A month is "
        "closed once and stays closed.",
    )
    parser.add_argument("month", metavar="YYYY-MM", help="the month")
    parser.add_argument("--by", metavar="NAME", help="who closes it")


def run_close_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.close import run_close

    month = parse_month(arguments.month)
    report = run_close(arguments.network, month=month, by=arguments.by, at=now())
    print(f"{month_name(month)} is closed with {report.n_exams:,} exams.")
    if report.left_open:
        print("Closed although:")
        print("\n".join(f"  {sentence}" for sentence in report.left_open))
    return 0
