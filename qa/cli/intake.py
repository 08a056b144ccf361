"""Read the exports of the sites."""

import argparse
import signal
import sys
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from threading import Event
from typing import Any

from qa.cli.crash import crash_lines
from qa.cli.shared import WAIT_SECONDS, add_command, add_wait, count_of, now
from qa.model.errors import RowsQuarantined, WrongUse

STEADY_SECONDS = 5.0


def add_intake(commands: Any) -> None:
    parser = add_command(
        commands,
        "intake",
        run_intake_command,
        short="read the sites' exports",
        long="Read exports into the warehouse. Every row is accepted, or kept in quarantine with "
        "all its reasons. Reading the same file twice changes nothing. Files stay where they are.",
    )
    parser.add_argument(
        "files",
        nargs="*",
        type=Path,
        metavar="FILE",
        help="files to read (default: everything under incoming/)",
    )
    parser.add_argument(
        "--site", metavar="S", help="the site that sent the files, as in network.toml"
    )
    parser.add_argument("--by", metavar="NAME", help="who has them read; kept beside each file")
    parser.add_argument(
        "--watch",
        action="store_true",
        help="go on and read files as they come into incoming/; stop with Ctrl-C",
    )
    parser.add_argument(
        "--steady",
        type=float,
        default=STEADY_SECONDS,
        metavar="SECONDS",
        help="with --watch: a file is whole when it has not changed for so long "
        f"(default: {STEADY_SECONDS:.0f})",
    )
    add_wait(parser)


def run_intake_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    if arguments.watch:
        return watch(arguments, environ)
    return intake(
        arguments.network,
        environ,
        files=arguments.files,
        site_id=arguments.site,
        known_at=now(),
        wait_seconds=arguments.wait,
        by=arguments.by,
    )


def intake(
    folder: Path,
    environ: Mapping[str, str],
    *,
    files: Sequence[Path],
    site_id: str | None,
    known_at: datetime,
    wait_seconds: float = WAIT_SECONDS,
    by: str | None = None,
) -> int:
    from qa.jobs.folder import find_key
    from qa.jobs.intake import run_intake
    from qa.jobs.progress_bar import ProgressBar

    key = find_key(folder, environ)
    with ProgressBar("Reading exports") as progress:
        report = run_intake(
            folder,
            files=files,
            site_id=site_id,
            key=key,
            known_at=known_at,
            wait_seconds=wait_seconds,
            by=by,
            progress=progress,
        )
    tell(report)
    if report.has_fault_of_ours:
        return 1
    if report.problems:
        return report.problems[0].exit_code
    return RowsQuarantined.exit_code if report.n_quarantined else 0


def tell(report: Any) -> None:
    """Say what an intake did (qa.jobs.intake_report.IntakeReport)."""
    for fault in report.faults:
        print("\n".join(crash_lines(fault)), file=sys.stderr)
    for problem in report.problems:
        print(f"elastoqa: {problem.message}", file=sys.stderr)
    print(
        f"{count_of(report.n_accepted, 'row')} accepted, {report.n_unchanged:,} already known, "
        f"{report.n_quarantined:,} in quarantine; {report.n_files_read:,} files read, "
        f"{report.n_files_known:,} known before, {report.n_files_refused:,} refused."
    )
    if report.n_quarantined:
        print("Why rows wait:")
        print("\n".join(report.waiting_lines()))
        print("File by file: elastoqa quarantine list; for a site: elastoqa quarantine sheet")


def watch(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    """Until Ctrl-C, or until the system asks the program to end; both are a normal end."""
    from qa.jobs.folder import find_key
    from qa.jobs.watch import watch_incoming

    if arguments.files or arguments.site:
        raise WrongUse("--watch follows all of incoming/", todo="Leave FILE and --site out")
    key = find_key(arguments.network, environ)

    def report(done: Any) -> None:
        print(f"{now():%Y-%m-%d %H:%M:%S} UTC")
        tell(done)
        sys.stdout.flush()

    signal.signal(signal.SIGTERM, signal.default_int_handler)
    print("Watching incoming/; stop with Ctrl-C.", flush=True)
    try:
        watch_incoming(
            arguments.network,
            key=key,
            now=now,
            steady_seconds=arguments.steady,
            wait_seconds=arguments.wait,
            stop=Event(),
            on_report=report,
            on_trouble=lambda message: print(f"elastoqa: {message}", file=sys.stderr, flush=True),
        )
    except KeyboardInterrupt:
        print("Stopped. What was read is kept; other files are read next time.")
    return 0
