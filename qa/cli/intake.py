"""Read the exports of the sites."""

import argparse
import sys
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from qa.cli.crash import crash_lines
from qa.cli.shared import WAIT_SECONDS, add_command, add_wait, now
from qa.model.errors import RowsQuarantined


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
    add_wait(parser)


def run_intake_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    return intake(
        arguments.network,
        environ,
        files=arguments.files,
        site_id=arguments.site,
        known_at=now(),
        wait_seconds=arguments.wait,
    )


def intake(
    folder: Path,
    environ: Mapping[str, str],
    *,
    files: Sequence[Path],
    site_id: str | None,
    known_at: datetime,
    wait_seconds: float = WAIT_SECONDS,
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
            progress=progress,
        )
    for fault in report.faults:
        print("\n".join(crash_lines(fault)), file=sys.stderr)
    for problem in report.problems:
        print(f"elastoqa: {problem.message}", file=sys.stderr)
    print(
        f"{report.n_accepted:,} rows accepted, {report.n_unchanged:,} already known, "
        f"{report.n_quarantined:,} in quarantine; {report.n_files_read:,} files read, "
        f"{report.n_files_known:,} known before, {report.n_files_refused:,} refused."
    )
    if report.n_quarantined:
        print("Why rows wait:")
        print("\n".join(report.waiting_lines()))
        print("Row by row: elastoqa export quarantine --out quarantine.csv")
    if report.has_fault_of_ours:
        return 1
    if report.problems:
        return report.problems[0].exit_code
    return RowsQuarantined.exit_code if report.n_quarantined else 0
