"""Withdraw a file whole."""

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from qa.cli.shared import add_command, now
from qa.model.errors import WrongUse


def add_withdraw(commands: Any) -> None:
    parser = add_command(
        commands,
        "withdraw",
        run_withdraw_command,
        short="take a whole file out of the figures, with a reason",
        long="Take a whole file out of the figures from now on. Its exams fall back to what "
        "another file says of them; without one they are out. Nothing is deleted: what was known "
        "before stays known, with the reason. A file that was sent for another site is read as "
        "that site's once it lies in its folder. Run 'elastoqa refresh' afterwards.",
    )
    parser.add_argument(
        "file",
        nargs="?",
        metavar="FILE-ID",
        help="the file's id, its first characters, or its whole name (see --list)",
    )
    parser.add_argument("--reason", default="", metavar="WORDS", help="why, in words; needed")
    parser.add_argument("--by", metavar="NAME", help="who decided")
    parser.add_argument("--site", metavar="S", help="the site under which the file was read")
    parser.add_argument("--undo", action="store_true", help="let a withdrawn file count again")
    parser.add_argument("--list", action="store_true", help="list the files that were read")


def run_withdraw_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.withdraw import run_withdraw

    if arguments.list:
        return _list(arguments.network)
    if arguments.file is None:
        raise WrongUse(
            "no file is named",
            expected='elastoqa withdraw FILE-ID --reason "…"',
            todo="See the files: elastoqa withdraw --list",
            code="USE-022",
        )
    report = run_withdraw(
        arguments.network,
        file=arguments.file,
        reason=arguments.reason,
        by=arguments.by,
        at=now(),
        is_undone=arguments.undo,
        site_id=arguments.site,
    )
    verb = "counts again" if arguments.undo else "is withdrawn"
    print(f"{report.name} ({report.file_id[:12]}) {verb}.")
    change = report.n_stand_now - report.n_stand_before
    if arguments.undo:
        print(f"{change:,} of its {report.n_held:,} exams are in again.")
    else:
        print(
            f"Of its {report.n_held:,} exams {-change:,} are out; {report.n_stand_now:,} stand by "
            "what another file says of them."
        )
    print("Run 'elastoqa refresh' to bring the figures up to date.")
    return 0


def _list(folder: Path) -> int:
    from qa.jobs.withdraw import list_files

    for one in list_files(folder):
        note = "  withdrawn" if one.is_withdrawn else ""
        place = one.site_id or "(several sites)"
        print(
            f"{one.file_id[:12]}  {one.read_at:%Y-%m-%d}  {one.n_rows:>7,} rows  {place:<20} "
            f"{one.name}{note}"
        )
    return 0
