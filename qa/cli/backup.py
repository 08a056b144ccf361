"""Back a network up into one file."""

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from qa.cli.shared import add_command, add_wait, now, software_version


def add_backup(commands: Any) -> None:
    parser = add_command(
        commands,
        "backup",
        run_backup_command,
        short="copy the whole network into one file",
        long="Copy warehouse, decisions, snapshots, packs, network.toml and profiles, as of one "
        "moment, into one file, and read it back. The screens may stay open. Exports under "
        "incoming/ are not in it, since they name patients: keep them where your rules say.",
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="a new file, for example a.tar.zst")
    parser.add_argument(
        "--with-key",
        action="store_true",
        help="put the pseudonym key in too; keep such a file as safe as the key itself",
    )
    add_wait(parser)


def run_backup_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.backup import run_backup
    from qa.jobs.followup.opening import is_in_database
    from qa.jobs.progress_bar import ProgressBar

    with ProgressBar("Copying the network") as progress:
        manifest = run_backup(
            arguments.network,
            arguments.file,
            with_key=arguments.with_key,
            environ=environ,
            at=now(),
            software_version=software_version(),
            wait_seconds=arguments.wait,
            progress=progress,
        )
    size = arguments.file.stat().st_size
    print(
        f"{arguments.file}: {len(manifest.files):,} files, {size / 1e6:,.1f} MB, read back whole."
    )
    print(", ".join(f"{n:,} {name}" for name, n in manifest.counts.items() if n) + ".")
    if is_in_database(arguments.network, environ=environ):
        print("Decisions lie in PostgreSQL and are not in it: copy that database with pg_dump.")
    if not manifest.has_key:
        print("The pseudonym key is not in it. Keep a copy of it in another safe place.")
    return 0
