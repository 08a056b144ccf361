"""Make an invented network and show its month."""

import argparse
import json
from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from qa.cli.intake import intake
from qa.cli.packs import make_month_packs
from qa.cli.refresh import refresh
from qa.cli.serve import run_serve
from qa.cli.shared import add_command, now
from qa.model.errors import NetworkFolderError, RowsQuarantined
from qa.model.months import add_months, parse_month


def add_demo(commands: Any) -> None:
    parser = add_command(
        commands,
        "demo",
        run_demo,
        short="make an invented network of twelve clinics and show its month",
        long="Make an invented network (marked as invented everywhere): write its sites' exports, "
        "read them, judge them, chart them, make the packs of its last month, and open the "
        "screens on this machine.",
        network=False,
    )
    parser.add_argument(
        "folder",
        nargs="?",
        type=Path,
        default=Path("demo_network"),
        metavar="FOLDER",
        help="where to put it (default: demo_network); a demo that is already there is kept",
    )
    parser.add_argument(
        "--scenario",
        type=Path,
        metavar="FILE",
        help="another scenario than the default (TOML), or second: six other clinics",
    )
    parser.add_argument("--no-serve", action="store_true", help="stop before opening the screens")
    parser.add_argument("--port", type=int, metavar="N", help="port of the screens (default: 8050)")


def run_demo(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from demo_sites.make import make_demo
    from qa.jobs.folder import make_key
    from qa.jobs.progress_bar import ProgressBar

    folder: Path = arguments.folder
    if (folder / "network.toml").exists():
        _refuse_foreign_demo(folder, arguments.scenario)
        print(f"The demo in {folder} is kept. Delete the folder to make it anew.")
    else:
        if folder.exists() and any(folder.iterdir()):
            raise NetworkFolderError(
                "is not empty and holds no demo",
                where=str(folder),
                todo="Name a new folder: elastoqa demo FOLDER",
                code="NET-006",
            )
        with ProgressBar("Writing the sites' exports") as progress:
            make_demo(folder, scenario=arguments.scenario, progress=progress)
        make_key(folder)
    arguments.network = folder
    code = _run_month(folder, environ, at=_demo_time(folder))
    if code not in (0, RowsQuarantined.exit_code):
        return code
    print("\nAll names, people and exams in this network are invented.")
    _make_accounts(folder, environ)
    if arguments.no_serve:
        print(f"To open the screens: elastoqa serve --network {folder}")
        return 0
    return run_serve(arguments, environ)


def _make_accounts(folder: Path, environ: Mapping[str, str]) -> None:
    from qa.jobs.followup.opening import open_network
    from qa.jobs.users.demo import make_demo_accounts
    from qa.jobs.users.opening import open_door

    door = open_door(folder, environ=environ)
    made = make_demo_accounts(door, open_network(folder), at=now())
    if not made:
        return
    print("\nAccounts, all invented. Their passwords are shown this once:")
    for one in made:
        scope = f" ({one.scope})" if one.scope else ""
        print(f"  {one.email:<28} {one.password}  {one.role}{scope}")
    print(f"Lost one? elastoqa users reset EMAIL --network {folder}\n")


def _refuse_foreign_demo(folder: Path, scenario: Path | None) -> None:
    if not (folder / "truth.json").exists() or scenario is not None:
        raise NetworkFolderError(
            "already holds a network",
            where=str(folder),
            expected="a new folder" if scenario else "a demo network or a new folder",
            todo="Name another folder: elastoqa demo FOLDER; nothing was changed",
            code="NET-006",
        )


def _truth(folder: Path) -> Any:
    return json.loads((folder / "truth.json").read_text(encoding="utf-8"))


def _planted_biases(folder: Path) -> dict[str, tuple[date, float]]:
    """Device → month from which it was planted to read high, and by which share."""
    return {
        one["target"]: (parse_month(one["start_month"]), one["size"])
        for one in _truth(folder)["events"]
        if one["kind"] == "device_bias"
    }


def _demo_time(folder: Path) -> datetime:
    """The demo's own now: a few days after its last month, so that it is the same every time."""
    after = add_months(parse_month(_truth(folder)["last_month"]), 1)
    return datetime(after.year, after.month, 4, 7, 0, tzinfo=UTC)


def _run_month(folder: Path, environ: Mapping[str, str], *, at: datetime) -> int:
    from qa.jobs.followup.demo_equipment import keep_demo_equipment
    from qa.jobs.followup.demo_people import begin_demo_files, keep_demo_people
    from qa.jobs.followup.demo_record import approve_demo, keep_demo_decisions
    from qa.jobs.status import find_status

    code = intake(folder, environ, files=(), site_id=None, known_at=at)
    approve_demo(folder, environ, at=at)
    keep_demo_equipment(folder, environ, at=at, biases=_planted_biases(folder))
    begin_demo_files(folder, environ, at=at)
    refresh(folder, at=at, environ=environ)
    keep_demo_decisions(folder, environ, at=at)
    keep_demo_people(folder, environ, at=at)
    newest = find_status(folder, at=at).newest_month
    if newest is not None:
        make_month_packs(folder, environ, month=f"{newest:%Y-%m}", site_id=None)
    return code
