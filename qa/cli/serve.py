"""Open the screens."""

import argparse
import getpass
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from qa.cli.shared import add_command, now
from qa.model.errors import FollowupError


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
    from qa.jobs.try_file import FileTrial

    port = arguments.port or find_port(arguments.network)
    print(f"The screens are at http://127.0.0.1:{port}/ — stop with Ctrl-C.", flush=True)
    folder = arguments.network
    trial = FileTrial(folder, find_key=lambda: find_key(folder, environ), now=now)
    serve(folder, port=port, profile_tools=trial, make_desk=_find_desk(folder, environ))
    return 0


def _find_desk(folder: Path, environ: Mapping[str, str]) -> Callable[[], Any] | None:
    """The desk of who started the screens; without a store screens still show what is published."""
    from qa.jobs.followup.cases import CaseDesk
    from qa.jobs.followup.opening import command_actor, open_record

    person = command_actor(getpass.getuser())
    try:
        store = open_record(folder, environ=environ)
    except FollowupError as problem:
        print(f"No decisions can be made or seen: {problem.message}", file=sys.stderr)
        return None
    return lambda: CaseDesk(store, person, now())
