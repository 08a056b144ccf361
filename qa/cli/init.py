"""Start a network folder."""

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from qa.cli.shared import add_command


def add_init(commands: Any) -> None:
    parser = add_command(
        commands,
        "init",
        run_init_command,
        short="start a new network folder with a commented network.toml",
        long="Start a new network folder: network.toml with comments, an example profile, a key "
        "for pseudonyms, and a place for each site's exports.",
        network=False,
    )
    parser.add_argument("folder", type=Path, metavar="FOLDER", help="the folder to make")


def run_init_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.init import run_init

    folder: Path = arguments.folder
    made = run_init(folder)
    print(f"Made {folder}:")
    for path in made:
        print(f"  {path}")
    print("Next: list your sites, operators and devices in network.toml, then put exports under")
    print("incoming/SITE/ and run 'elastoqa intake'. Keep .pseudonym_key safe: without it")
    print("new exams cannot be linked to old ones.")
    print("Before others use the screens, make the first account, an administrator:")
    print(f"  elastoqa users invite EMAIL --name NAME --role administrator --network {folder}")
    return 0
