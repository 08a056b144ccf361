"""Make audit packs."""

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from qa.cli.shared import add_command, now
from qa.cli.who import acting
from qa.model.months import month_name, parse_month


def add_packs(commands: Any) -> None:
    parser = add_command(
        commands,
        "packs",
        run_packs_command,
        short="make the monthly audit pack of each site",
        long="Make each site's audit pack for a month from the published snapshot: a PDF and a "
        "manifest with every figure. A pack is never written over; what has changed since gets "
        "the next number.",
    )
    parser.add_argument("--month", required=True, metavar="YYYY-MM", help="the month")
    parser.add_argument("--site", metavar="S", help="only this site (default: all sites)")


def run_packs_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.users.uses import MADE_PACKS, note_command_use

    code = make_month_packs(
        arguments.network, environ, month=arguments.month, site_id=arguments.site
    )
    what = f"{arguments.month} {arguments.site or 'all sites'}"
    by = acting(arguments, environ).user_id
    note_command_use(arguments.network, environ, MADE_PACKS, what, by=by, at=now())
    return code


def make_month_packs(
    folder: Path, environ: Mapping[str, str], *, month: str, site_id: str | None
) -> int:
    from qa.jobs.packs import make_packs
    from qa.jobs.progress_bar import ProgressBar
    from reports.pack import render_pack

    chosen = parse_month(month)
    with ProgressBar("Making packs") as progress:
        report = make_packs(
            folder,
            month=chosen,
            site_id=site_id,
            render=render_pack,
            environ=environ,
            progress=progress,
        )
    for path in report.made:
        print(f"  {path}")
    kept = f", {len(report.kept)} already made" if report.kept else ""
    print(f"{len(report.made)} packs of {month_name(chosen)} made{kept}.")
    return 0
