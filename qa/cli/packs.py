"""Make packs."""

import argparse
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from qa.cli.shared import add_as_known_at, add_command, count_of, now, software_version
from qa.cli.who import acting
from qa.model.errors import WrongUse
from qa.model.months import month_name, parse_month
from qa.model.pack_request import PackKind

SHEETS = ("A4", "Letter")


def add_packs(commands: Any) -> None:
    parser = add_command(
        commands,
        "packs",
        run_packs_command,
        short="make audit packs, letters, reports and the accreditation record",
        long="Make documents of a month from the published snapshot: a PDF and a manifest with "
        "every figure. A pack is never written over; what says something else since gets the "
        "next number, with a reason and what changed.",
    )
    parser.add_argument("--month", required=True, metavar="YYYY-MM", help="the month, or the last")
    parser.add_argument(
        "--kind",
        choices=[str(one) for one in PackKind],
        default=str(PackKind.SITE),
        help="what to make (default: a pack for each site)",
    )
    parser.add_argument(
        "--site", metavar="S", help="only this site, its operators' letters, or its record"
    )
    parser.add_argument("--operator", metavar="OP", help="only the letter to this operator")
    parser.add_argument("--round", metavar="ROUND", help="the round to report")
    parser.add_argument("--from", metavar="YYYY-MM", help="the first month of a record")
    parser.add_argument("--paper", choices=SHEETS, default="A4", help="size of paper (default: A4)")
    parser.add_argument(
        "--reason",
        metavar="WORDS",
        default="",
        help="why there are new issues; then packs that only look different are issued anew too",
    )
    add_processes(parser)
    add_as_known_at(
        parser,
        help="make what would have been issued then (a day means its end; UTC), from the warehouse "
        "as it was known and the rules in force; it goes to packs/as-known/ and is no issue",
    )


def add_processes(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--processes",
        type=int,
        metavar="N",
        default=min(os.cpu_count() or 1, 8),
        help="packs made at the same time (default: one for each core, at most 8)",
    )


def run_packs_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.users.uses import MADE_PACKS, note_command_use

    kind = PackKind(arguments.kind)
    _check_use(arguments, kind)
    first = getattr(arguments, "from")
    if arguments.as_known_at:
        return _make_packs_then(arguments, environ, kind)
    code = make_month_packs(
        arguments.network,
        environ,
        month=arguments.month,
        kind=kind,
        site_id=arguments.site,
        unit_id=arguments.operator or arguments.round,
        from_month=first,
        sheet=arguments.paper,
        reason=arguments.reason,
        processes=arguments.processes,
    )
    whom = arguments.operator or arguments.round or arguments.site or "all sites"
    what = f"{arguments.month} {whom}" + ("" if kind is PackKind.SITE else f" {kind}")
    by = acting(arguments, environ).user_id
    note_command_use(arguments.network, environ, MADE_PACKS, what, by=by, at=now())
    return code


def _check_use(arguments: argparse.Namespace, kind: PackKind) -> None:
    """Raises: WrongUse: an option that the kind does not take, or one that it needs."""
    takes = {"operator": PackKind.OPERATOR, "round": PackKind.ROUND, "from": PackKind.RECORD}
    for option, wanted in takes.items():
        if getattr(arguments, option) and kind is not wanted:
            raise WrongUse(
                f"--{option} goes with --kind {wanted}",
                todo=f"Add --kind {wanted}, or leave it out",
            )
    if kind is PackKind.ROUND and not arguments.round:
        raise WrongUse("no round is named", todo="Add --round ROUND, as 'elastoqa rounds' lists it")


def make_month_packs(
    folder: Path,
    environ: Mapping[str, str],
    *,
    month: str,
    kind: PackKind = PackKind.SITE,
    site_id: str | None = None,
    unit_id: str | None = None,
    from_month: str | None = None,
    sheet: str = "A4",
    reason: str = "",
    processes: int = 1,
) -> int:
    from qa.jobs.packs import choose_packs, issue_packs
    from qa.jobs.progress_bar import ProgressBar
    from reports.pack import render_pack

    chosen = parse_month(month)
    choose = choose_packs(
        kind,
        month=chosen,
        site_id=site_id,
        unit_id=unit_id,
        from_month=parse_month(from_month) if from_month else None,
        sheet=sheet,
    )
    with ProgressBar("Making packs") as progress:
        report = issue_packs(
            folder,
            choose=choose,
            render=render_pack,
            environ=environ,
            reason=reason,
            processes=processes,
            progress=progress,
        )
    for path in report.made:
        print(f"  {path}")
    kept = f", {len(report.kept)} already made" if report.kept else ""
    print(f"{count_of(len(report.made), 'pack')} of {month_name(chosen)} made{kept}.")
    return 0


def _make_packs_then(
    arguments: argparse.Namespace, environ: Mapping[str, str], kind: PackKind
) -> int:
    from qa.jobs.pack_choice import choose_packs
    from qa.jobs.packs_then import make_packs_then
    from qa.jobs.progress_bar import ProgressBar
    from reports.pack import render_pack

    month, first = parse_month(arguments.month), getattr(arguments, "from")
    choose = choose_packs(
        kind,
        month=month,
        site_id=arguments.site,
        unit_id=arguments.operator or arguments.round,
        from_month=parse_month(first) if first else None,
        sheet=arguments.paper,
    )
    with ProgressBar("Judging and counting exams") as progress:
        found = make_packs_then(
            arguments.network,
            month=month,
            choose=choose,
            moment=arguments.as_known_at,
            render=render_pack,
            software_version=software_version(),
            environ=environ,
            progress=progress,
        )
    for path in found.paths:
        print(f"  {path}")
    rules = f"snapshot {found.rules_from}" if found.rules_from else "today, none was published then"
    known = f"{arguments.as_known_at:%Y-%m-%d %H:%M} UTC"
    made = count_of(len(found.paths), "pack")
    print(f"{made} of {month_name(month)} as known at {known}; rules of {rules}.")
    return 0
