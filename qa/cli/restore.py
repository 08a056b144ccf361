"""Restore a network from a backup."""

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from qa.cli.shared import add_command


def add_restore(commands: Any) -> None:
    parser = add_command(
        commands,
        "restore",
        run_restore_command,
        short="bring a network back from a backup",
        long="Check every file of a backup, then put the network in place. A network that is "
        "already there is never written over.",
        network=False,
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="a file made by 'elastoqa backup'")
    parser.add_argument(
        "--into",
        type=Path,
        default=Path("."),
        metavar="FOLDER",
        help="where the network goes: a new folder (default: the current folder)",
    )


def run_restore_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.backup import run_restore
    from qa.jobs.progress_bar import ProgressBar

    with ProgressBar("Reading the backup") as progress:
        manifest = run_restore(arguments.file, arguments.into, progress=progress)
    print(
        f"Restored {manifest.network_id} as of {manifest.made_at[:16].replace('T', ' ')} UTC into "
        f"{arguments.into}: {len(manifest.files):,} files, every one as it was backed up."
    )
    print(", ".join(f"{n:,} {name}" for name, n in manifest.counts.items() if n) + ".")
    if not manifest.has_key:
        print("The pseudonym key was not in it: put your copy back as .pseudonym_key.")
    return 0
