"""Open the screens."""

import argparse
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from qa.cli.shared import add_command, now
from qa.cli.who import acting


def add_serve(commands: Any) -> None:
    parser = add_command(
        commands,
        "serve",
        run_serve,
        short="open the screens on this machine",
        long="Open the screens on this machine only (127.0.0.1). Once there is an account "
        "(elastoqa users), everybody logs in first. Stop with Ctrl-C.",
    )
    parser.add_argument(
        "--port", type=int, metavar="N", help="port (default: the one in network.toml, 8050)"
    )
    parser.add_argument(
        "--workers",
        type=int,
        default=1,
        metavar="N",
        help="processes that answer (default: 1); more need gunicorn: pip install '.[server]'",
    )


def run_serve(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from dashboard.app import serve
    from qa.jobs.folder import find_port, find_server

    folder = arguments.network
    port = arguments.port or find_port(folder)
    server = find_server(folder)
    print(f"The screens are at http://127.0.0.1:{port}{server.path_prefix} — stop with Ctrl-C.")
    if make_access(folder, environ).is_open():
        print("There are no accounts, so whoever uses this machine sees everything. Make the")
        print("first: elastoqa users invite EMAIL --name NAME --role administrator")
    sys.stdout.flush()
    serve(
        lambda: make_app(arguments, environ),
        port=port,
        workers=getattr(arguments, "workers", 1),
        behind_proxy=server.behind_proxy,
    )
    return 0


def make_app(arguments: argparse.Namespace, environ: Mapping[str, str]) -> Any:
    """The screens of a network folder, with connections of this process."""
    from dashboard.app import open_app
    from qa.jobs.folder import find_key, find_server
    from qa.jobs.followup.archive import NetworkArchive
    from qa.jobs.followup.cases import CaseDesk
    from qa.jobs.try_file import FileTrial

    folder = arguments.network
    access = make_access(folder, environ)
    person, archive = acting(arguments, environ), NetworkArchive(folder)
    return open_app(
        folder,
        path_prefix=find_server(folder).path_prefix,
        profile_tools=FileTrial(folder, find_key=lambda: find_key(folder, environ), now=now),
        make_desk=lambda: CaseDesk(access.door.store, person, now(), archive),
        access=access,
    )


def make_access(folder: Path, environ: Mapping[str, str]) -> Any:
    """What the guard of the screens needs.

    Raises: FollowupError where the follow-up store will not open: it may hold accounts, so without
        it the screens stay shut.
    """
    from dashboard.app import Access
    from qa.jobs.followup.opening import open_network
    from qa.jobs.users.opening import open_door, open_hospital

    door = open_door(folder, environ=environ)
    return Access(
        door=door,
        network=lambda: open_network(folder),
        now=now,
        public_url=door.settings.public_url,
        hospital=open_hospital(folder, door.store, environ=environ),
    )
