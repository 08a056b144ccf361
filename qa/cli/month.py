"""A whole month unattended."""

import argparse
from collections.abc import Mapping
from contextlib import ExitStack
from typing import Any

from qa.cli.packs import add_processes
from qa.cli.shared import add_command, count_of, now, software_version
from qa.cli.who import acting, add_by
from qa.model.months import month_name, parse_month


def add_month(commands: Any) -> None:
    parser = add_command(
        commands,
        "month",
        run_month_command,
        short="do a whole month: intake, refresh, packs, delivery",
        long="Read what came, judge and publish, make the packs of all sites, deliver them. Run "
        "again it changes nothing, or goes on where it was stopped. What fails for one site or "
        "address stops no other and is said at the end, with an exit code of its own.",
    )
    parser.add_argument("month", metavar="YYYY-MM", help="the month; it has to be over")
    add_by(parser, does="has it done")
    add_processes(parser)
    parser.add_argument("--no-deliver", action="store_true", help="make packs, send nothing")


def run_month_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.cli.intake import tell
    from qa.jobs.folder import find_key
    from qa.jobs.month import run_month
    from qa.jobs.progress_bar import ProgressBar
    from reports.pack import render_pack

    month = parse_month(arguments.month)
    with ExitStack() as bars:
        report = run_month(
            arguments.network,
            month=month,
            key=find_key(arguments.network, environ),
            render=render_pack,
            software_version=software_version(),
            by=acting(arguments, environ).user_id,
            now=now,
            environ=environ,
            processes=arguments.processes,
            is_delivered=not arguments.no_deliver,
            progress_of=lambda title: bars.enter_context(ProgressBar(title)),
        )
    tell(report.intake)
    published = "published" if report.refresh.is_new_snapshot else "nothing has changed,"
    print(f"{published.capitalize()} {report.refresh.snapshot_id}.")
    packs = report.packs
    made = count_of(len(packs.made), "pack")
    print(f"{made} of {month_name(month)} made, {len(packs.kept)} made before.")
    for line in report.delivery.lines if report.delivery else ["Nothing is set to be delivered."]:
        print(line)
    if not report.is_closed:
        print(
            f"{month_name(month)} is not closed: what arrives for it gives new issues. Close it "
            f"with 'elastoqa close {month:%Y-%m}'."
        )
    for one in packs.failed:
        print(f"  no pack of {one.unit_id}: {one.message}")
    report.raise_for_failed()
    return 0
