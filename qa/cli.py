"""The command line: one add_<command>() for each command, words for site leads, exit codes.

Exit codes: 0 done · 1 our bug · 2 wrong use · 10 and up: one for each class of error
(qa/model/errors.py). A user's error is one line without a traceback.
"""

import argparse
import json
import sys
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

from qa.model.errors import NetworkFolderError, RowsQuarantined, UserError
from qa.model.months import add_months, month_name, parse_month

Command = Callable[[argparse.Namespace, Mapping[str, str]], int]

EPILOG = (
    "elastoqa judges how exams were done, never what a patient has. It is not a diagnostic device."
)


def main(argv: Sequence[str], environ: Mapping[str, str]) -> int:
    """Run one command.

    Returns: the exit code.
    """
    parser = make_parser()
    arguments = parser.parse_args(argv)
    try:
        return arguments.run(arguments, environ)
    except UserError as problem:
        print(f"elastoqa: {problem.message}", file=sys.stderr)
        return problem.exit_code
    except KeyboardInterrupt:
        print("elastoqa: stopped. What was finished is kept.", file=sys.stderr)
        return 130


def make_parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="elastoqa",
        description="Quality assurance for networks of liver-elastography clinics.",
        epilog=EPILOG,
    )
    parser.add_argument("--version", action="version", version=f"elastoqa {software_version()}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for add in (
        add_demo,
        add_init,
        add_intake,
        add_refresh,
        add_packs,
        add_export,
        add_status,
        add_verify,
        add_serve,
    ):
        add(commands)
    return parser


def software_version() -> str:
    return version("elastography-qa")


def _add_command(
    commands: Any, name: str, run: Command, *, short: str, long: str, network: bool = True
) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = commands.add_parser(
        name, help=short, description=long, epilog=EPILOG
    )
    if network:
        parser.add_argument(
            "--network",
            type=Path,
            default=Path("."),
            metavar="FOLDER",
            help="the network's folder, with network.toml in it (default: the current folder)",
        )
    parser.set_defaults(run=run)
    return parser


def _now() -> datetime:
    return datetime.now(UTC)


def add_demo(commands: Any) -> None:
    parser = _add_command(
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
        "--scenario", type=Path, metavar="FILE", help="another scenario than the default (TOML)"
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
    if arguments.no_serve:
        print(f"To open the screens: elastoqa serve --network {folder}")
        return 0
    return run_serve(arguments, environ)


def _refuse_foreign_demo(folder: Path, scenario: Path | None) -> None:
    if not (folder / "truth.json").exists() or scenario is not None:
        raise NetworkFolderError(
            "already holds a network",
            where=str(folder),
            expected="a new folder" if scenario else "a demo network or a new folder",
            todo="Name another folder: elastoqa demo FOLDER; nothing was changed",
            code="NET-006",
        )


def _demo_time(folder: Path) -> datetime:
    """The demo's own now: a few days after its last month, so that it is the same every time."""
    last = parse_month(
        json.loads((folder / "truth.json").read_text(encoding="utf-8"))["last_month"]
    )
    after = add_months(last, 1)
    return datetime(after.year, after.month, 4, 7, 0, tzinfo=UTC)


def _run_month(folder: Path, environ: Mapping[str, str], *, at: datetime) -> int:
    from qa.jobs.status import find_status

    code = _intake(folder, environ, files=(), site_id=None, known_at=at)
    _refresh(folder, at=at)
    newest = find_status(folder).newest_month
    if newest is not None:
        _packs(folder, month=f"{newest:%Y-%m}", site_id=None)
    return code


def add_init(commands: Any) -> None:
    parser = _add_command(
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

    made = run_init(arguments.folder)
    print(f"Made {arguments.folder}:")
    for path in made:
        print(f"  {path}")
    print("Next: list your sites, operators and devices in network.toml, then put exports under")
    print("incoming/SITE/ and run 'elastoqa intake'. Keep .pseudonym_key safe: without it")
    print("new exams cannot be linked to old ones.")
    return 0


def add_intake(commands: Any) -> None:
    parser = _add_command(
        commands,
        "intake",
        run_intake_command,
        short="read the sites' exports",
        long="Read exports into the warehouse. Every row is accepted, or kept in quarantine with "
        "all its reasons. Reading the same file twice changes nothing. Files stay where they are.",
    )
    parser.add_argument(
        "files",
        nargs="*",
        type=Path,
        metavar="FILE",
        help="files to read (default: everything under incoming/)",
    )
    parser.add_argument(
        "--site", metavar="S", help="the site that sent the files, as in network.toml"
    )


def run_intake_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    return _intake(
        arguments.network,
        environ,
        files=arguments.files,
        site_id=arguments.site,
        known_at=_now(),
    )


def _intake(
    folder: Path,
    environ: Mapping[str, str],
    *,
    files: Sequence[Path],
    site_id: str | None,
    known_at: datetime,
) -> int:
    from qa.jobs.folder import find_key
    from qa.jobs.intake import run_intake
    from qa.jobs.progress_bar import ProgressBar

    key = find_key(folder, environ)
    with ProgressBar("Reading exports") as progress:
        report = run_intake(
            folder, files=files, site_id=site_id, key=key, known_at=known_at, progress=progress
        )
    for problem in report.problems:
        print(f"elastoqa: {problem.message}", file=sys.stderr)
    print(
        f"{report.n_accepted:,} rows accepted, {report.n_unchanged:,} already known, "
        f"{report.n_quarantined:,} in quarantine; {report.n_files_read:,} files read, "
        f"{report.n_files_known:,} known before, {report.n_files_refused:,} refused."
    )
    if report.n_quarantined:
        print("Why rows wait:")
        print("\n".join(report.waiting_lines()))
        print("Row by row: elastoqa export quarantine --out quarantine.csv")
    if report.problems:
        return report.problems[0].exit_code
    return RowsQuarantined.exit_code if report.n_quarantined else 0


def add_refresh(commands: Any) -> None:
    _add_command(
        commands,
        "refresh",
        run_refresh_command,
        short="judge what came in, count, draw charts and publish",
        long="Judge the exams that came in by the criteria set in force on their date, count the "
        "months touched, draw the charts, find signals, and publish a snapshot for screens and "
        "packs.",
    )


def run_refresh_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    return _refresh(arguments.network, at=_now())


def _refresh(folder: Path, *, at: datetime) -> int:
    from qa.jobs.progress_bar import ProgressBar
    from qa.jobs.refresh import run_refresh

    with ProgressBar("Judging and counting exams") as progress:
        report = run_refresh(
            folder,
            at=at,
            by="refresh, by the stated rule",
            software_version=software_version(),
            progress=progress,
        )
    if not report.is_new_snapshot:
        print(f"Nothing has changed; {report.snapshot_id} stays published.")
        return 0
    print(
        f"{report.n_exams:,} exams judged in {len(report.months)} months; "
        f"{report.n_new_baselines:,} baselines frozen; published {report.snapshot_id}."
    )
    return 0


def add_packs(commands: Any) -> None:
    parser = _add_command(
        commands,
        "packs",
        run_packs_command,
        short="make the monthly audit pack of each site",
        long="Make each site's audit pack for a month from the published snapshot: a PDF and a "
        "manifest with every figure. A pack is never written over; what has changed since gets "
        "the next number.",
    )
    parser.add_argument("--month", required=True, metavar="YYYY-MM", help="the month")
    parser.add_argument("--site", metavar="S", help="only this site (default: all sites)")


def run_packs_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    return _packs(arguments.network, month=arguments.month, site_id=arguments.site)


def _packs(folder: Path, *, month: str, site_id: str | None) -> int:
    from qa.jobs.packs import make_packs
    from qa.jobs.progress_bar import ProgressBar
    from reports.pack import render_site_pack

    chosen = parse_month(month)
    with ProgressBar("Making packs") as progress:
        report = make_packs(
            folder, month=chosen, site_id=site_id, render=render_site_pack, progress=progress
        )
    for path in report.made:
        print(f"  {path}")
    kept = f", {len(report.kept)} already made" if report.kept else ""
    print(f"{len(report.made)} packs of {month_name(chosen)} made{kept}.")
    return 0


def add_export(commands: Any) -> None:
    parser = _add_command(
        commands,
        "export",
        run_export_command,
        short="write exams, counts, measures, signals or quarantine to a file",
        long="Write what was published (or what waits in quarantine) to one file. The columns are "
        "listed in README.md and stay stable.",
    )
    parser.add_argument(
        "what",
        choices=["exams", "counts", "measures", "signals", "quarantine"],
        help="what to write",
    )
    parser.add_argument(
        "--out", required=True, type=Path, metavar="FILE", help="a name ending in .csv or .parquet"
    )


def run_export_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.export import run_export

    report = run_export(arguments.network, what=arguments.what, out=arguments.out)
    print(f"{report.n_rows:,} rows written to {report.path}.")
    return 0


def add_status(commands: Any) -> None:
    parser = _add_command(
        commands,
        "status",
        run_status_command,
        short="say what is in, what waits, and what is late",
        long="Say what the network folder holds: exams by site, late sites, rows in quarantine, "
        "refused files, and whether what is published is up to date.",
    )
    parser.add_argument("--json", action="store_true", help="for programs")


def run_status_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.status import find_status, status_lines

    status = find_status(arguments.network)
    if arguments.json:
        print(json.dumps(status.to_json(), indent=2, ensure_ascii=False))
    else:
        print("\n".join(status_lines(status)))
    return 0


def add_verify(commands: Any) -> None:
    parser = _add_command(
        commands,
        "verify",
        run_verify_command,
        short="say whether a pack and its figures still agree",
        long="Check a pack against its manifest: the file's bytes, the manifest itself, and every "
        "figure computed again from the snapshot that the manifest names.",
    )
    parser.add_argument("pack", type=Path, metavar="PACK.pdf", help="the pack")
    # The pack lies inside its network's folder, so the folder is found from it.
    parser.set_defaults(network=None)


def run_verify_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.verify import verify_pack
    from reports.pack import render_site_pack

    for line in verify_pack(arguments.pack, folder=arguments.network, render=render_site_pack):
        print(line)
    return 0


def add_serve(commands: Any) -> None:
    parser = _add_command(
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
    from qa.jobs.folder import find_port

    port = arguments.port or find_port(arguments.network)
    print(f"The screens are at http://127.0.0.1:{port}/ — stop with Ctrl-C.", flush=True)
    serve(arguments.network, port=port)
    return 0
