"""Judge, count, chart and publish."""

import argparse
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from qa.cli.shared import add_as_known_at, add_command, now, software_version


def add_refresh(commands: Any) -> None:
    parser = add_command(
        commands,
        "refresh",
        run_refresh_command,
        short="judge what came in, count, draw charts and publish",
        long="Judge the exams that came in by the criteria set in force on their date, count the "
        "months touched, draw the charts, find signals, and publish a snapshot for screens and "
        "packs.",
    )
    add_as_known_at(
        parser,
        help="judge and count everything as it was known then (a day means its end; UTC), by "
        "today's network.toml, into a snapshot of its own that screens and packs do not follow",
    )


def run_refresh_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    return refresh(arguments.network, at=now(), environ=environ, as_known_at=arguments.as_known_at)


def refresh(
    folder: Path,
    *,
    at: datetime,
    environ: Mapping[str, str],
    as_known_at: datetime | None = None,
) -> int:
    from qa.jobs.progress_bar import ProgressBar
    from qa.jobs.refresh import run_refresh

    with ProgressBar("Judging and counting exams") as progress:
        report = run_refresh(
            folder,
            at=at,
            by="refresh, by the stated rule",
            software_version=software_version(),
            as_known_at=as_known_at,
            environ=environ,
            progress=progress,
        )
    if as_known_at is not None:
        print(
            f"{report.n_exams:,} exams judged as known at {as_known_at:%Y-%m-%d %H:%M} UTC: "
            f"{report.snapshot_id}. What is published stays as it is."
        )
        if not report.n_exams:
            print("No exam was known then. When files were read: elastoqa withdraw --list")
        return 0
    if not report.is_new_snapshot:
        print(f"Nothing has changed; {report.snapshot_id} stays published.")
        return 0
    print(
        f"{report.n_exams:,} exams judged in {len(report.months)} months; "
        f"{report.n_new_baselines:,} baselines frozen; published {report.snapshot_id}."
    )
    if report.newest is not None:
        newest = report.newest
        print(
            f"On the list of {newest.month:%B %Y}: {newest.n_items}, of which {newest.n_new} new. "
            f"By chance alone about {newest.n_expected:.1f} new a month are expected over "
            f"{newest.n_charts:,} charts."
        )
    return 0
