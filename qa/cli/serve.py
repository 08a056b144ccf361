"""Open the screens."""

import argparse
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


def run_serve(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from dashboard.app import serve
    from qa.jobs.folder import find_key, find_port
    from qa.jobs.followup.archive import NetworkArchive
    from qa.jobs.followup.cases import CaseDesk
    from qa.jobs.try_file import FileTrial

    folder = arguments.network
    port = arguments.port or find_port(folder)
    access = make_access(folder, environ)
    print(f"The screens are at http://127.0.0.1:{port}/ — stop with Ctrl-C.", flush=True)
    if access.is_open():
        print("There are no accounts, so whoever uses this machine sees everything. Make the")
        print("first: elastoqa users invite EMAIL --name NAME --role administrator", flush=True)
    trial = FileTrial(folder, find_key=lambda: find_key(folder, environ), now=now)
    person, archive = acting(arguments, environ), NetworkArchive(folder)
    serve(
        folder,
        port=port,
        profile_tools=trial,
        make_desk=lambda: CaseDesk(access.door.store, person, now(), archive),
        access=access,
    )
    return 0


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
