"""Write what was published to a file."""

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from qa.cli.shared import add_as_known_at, add_command, now
from qa.cli.who import acting


def add_export(commands: Any) -> None:
    parser = add_command(
        commands,
        "export",
        run_export_command,
        short="write exams, counts, measures, signals, needs, intake or quarantine to a file",
        long="Write what was published (or what waits in quarantine) to one file. The columns are "
        "listed in README.md and stay stable. 'intake' says of each site and month what came in, "
        "'needs' who needs training and which device service, in the last published month, "
        "'practice' how much each operator examines and what no authorisation covers.",
    )
    parser.add_argument(
        "what",
        choices=[
            *("exams", "counts", "measures", "charts", "baselines"),
            *("signals", "needs", "practice", "intake", "quarantine"),
        ],
        help="what to write",
    )
    parser.add_argument(
        "--out", required=True, type=Path, metavar="FILE", help="a name ending in .csv or .parquet"
    )
    add_as_known_at(
        parser,
        help="what was known then (a day means its end; UTC), judged by today's network.toml",
    )


def run_export_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.export import run_export
    from qa.jobs.users.uses import EXPORTED, note_command_use

    report = run_export(
        arguments.network,
        what=arguments.what,
        out=arguments.out,
        as_known_at=arguments.as_known_at,
        environ=environ,
    )
    what = f"{arguments.what} to {arguments.out.name}"
    try:
        by = acting(arguments, environ).user_id
        note_command_use(arguments.network, environ, EXPORTED, what, by=by, at=now())
    except Exception:  # What cannot stand in the trail is not taken away.
        arguments.out.unlink(missing_ok=True)
        raise
    print(f"{report.n_rows:,} rows written to {report.path}.")
    if not report.n_rows and arguments.as_known_at is not None:
        print("Nothing of this was known then. When files were read: elastoqa withdraw --list")
    return 0
