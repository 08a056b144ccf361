"""Judge, count, chart and publish."""

import argparse
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from qa.cli.shared import add_command, now, software_version


def add_refresh(commands: Any) -> None:
    add_command(
        commands,
        "refresh",
        run_refresh_command,
        short="judge what came in, count, draw charts and publish",
        long="Judge the exams that came in by the criteria set in force on their date, count the "
        "months touched, draw the charts, find signals, and publish a snapshot for screens and "
        "packs.",
    )


def run_refresh_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    return refresh(arguments.network, at=now())


def refresh(folder: Path, *, at: datetime) -> int:
    from qa.jobs.progress_bar import ProgressBar
    from qa.jobs.refresh import run_refresh

    with ProgressBar("Judging and counting exams") as progress:
        report = run_refresh(
            folder,
            at=at,
            by="refresh, by the stated rule",
            software_version=software_version(),
            progress=progress,
        )
    if not report.is_new_snapshot:
        print(f"Nothing has changed; {report.snapshot_id} stays published.")
        return 0
    print(
        f"{report.n_exams:,} exams judged in {len(report.months)} months; "
        f"{report.n_new_baselines:,} baselines frozen; published {report.snapshot_id}."
    )
    return 0
