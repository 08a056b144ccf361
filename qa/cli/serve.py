"""Open the screens."""

import argparse
import getpass
from collections.abc import Mapping
from typing import Any

from qa.cli.shared import add_command, now


def add_serve(commands: Any) -> None:
    parser = add_command(
        commands,
        "serve",
        run_serve,
        short="open the screens on this machine",
        long="Open the screens on this machine only (127.0.0.1). Stop with Ctrl-C.",
    )
    parser.add_argument(
        "--port", type=int, metavar="N", help="port (default: the one in network.toml, 8050)"
    )


def run_serve(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from dashboard.app import serve
    from qa.jobs.folder import find_key, find_port
    from qa.jobs.followup.cases import CaseDesk
    from qa.jobs.followup.opening import command_actor, open_record
    from qa.jobs.try_file import FileTrial

    port = arguments.port or find_port(arguments.network)
    print(f"The screens are at http://127.0.0.1:{port}/ — stop with Ctrl-C.", flush=True)
    folder = arguments.network
    trial = FileTrial(folder, find_key=lambda: find_key(folder, environ), now=now)
    store = open_record(folder, environ=environ)
    person = command_actor(getpass.getuser())
    serve(
        folder,
        port=port,
        profile_tools=trial,
        make_desk=lambda: CaseDesk(store, person, now()),
    )
    return 0
