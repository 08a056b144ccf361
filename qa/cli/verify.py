"""Say whether a pack still agrees with its figures."""

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from qa.cli.shared import add_command


def add_verify(commands: Any) -> None:
    parser = add_command(
        commands,
        "verify",
        run_verify_command,
        short="say whether a pack and its figures still agree",
        long="Check a pack against its manifest: the file's bytes, the manifest itself, and every "
        "figure computed again, from the snapshot that the manifest names and from the warehouse "
        "as it was known then. Works on packs of older versions.",
    )
    parser.add_argument("pack", type=Path, metavar="PACK.pdf", help="the pack")
    parser.add_argument(
        "--quick", action="store_true", help="leave out the computation from the warehouse"
    )
    # A pack mostly lies inside its network's folder, so the folder is found from it.
    parser.set_defaults(network=None)


def run_verify_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.verify import verify_pack
    from reports.pack import render_pack

    checks = verify_pack(
        arguments.pack,
        folder=arguments.network,
        render=render_pack,
        environ=environ,
        is_quick=arguments.quick,
    )
    for line in checks:
        print(line)
    return 0
