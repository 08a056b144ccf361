"""See what waits in quarantine, send it back to the sites, read it again."""

import argparse
import json
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from qa.cli.shared import add_command, now
from qa.cli.who import add_by, by_words
from qa.model.errors import RowsQuarantined

_SITE_HELP = "only this site, as in network.toml"


def add_quarantine(commands: Any) -> None:
    parser = add_command(
        commands,
        "quarantine",
        run_list,
        short="see what waits, send it back to the sites, read it again",
        long="Rows that could not be accepted are kept with all their reasons. See them, write a "
        "sheet for the site that has to mend them, and read their files again after a profile or "
        "network.toml was mended. Nothing is ever deleted: a row that came in keeps its history.",
        network=False,
    )
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    _add_list(actions)
    _add_show(actions)
    _add_retry(actions)
    _add_sheet(actions)


def _add_list(actions: Any) -> None:
    parser = add_command(
        actions,
        "list",
        run_list,
        short="what waits, file by file",
        long="What waits, file by file, and files that were refused.",
    )
    parser.add_argument("--site", metavar="S", help=_SITE_HELP)
    parser.add_argument("--json", action="store_true", help="every row, for a program")


def _add_show(actions: Any) -> None:
    parser = add_command(
        actions,
        "show",
        run_show,
        short="a file's rows with their history",
        long="Each row of a file that was ever held back: when, by which profile, what was found, "
        "what was expected, and what became of it.",
    )
    parser.add_argument("file", metavar="FILE-ID", help="the file's number, as 'list' shows it")
    parser.add_argument("--row", type=int, metavar="N", help="only this row")


def _add_retry(actions: Any) -> None:
    parser = add_command(
        actions,
        "retry",
        run_retry_command,
        short="read the files again",
        long="Read files with waiting rows again from incoming/. Rows that come right enter; rows "
        "that lay in the future are tried again too.",
    )
    parser.add_argument("file", metavar="FILE-ID", nargs="?", help="only this file")
    parser.add_argument("--site", metavar="S", help=_SITE_HELP)
    add_by(parser, does="asked")


def _add_sheet(actions: Any) -> None:
    parser = add_command(
        actions,
        "sheet",
        run_sheet,
        short="a sheet for the site that has to mend",
        long="Write what a site has to mend: file, row, column, what was found and what is "
        "expected, in words. It holds no identifiers.",
    )
    parser.add_argument("--site", metavar="S", required=True, help="the site, as in network.toml")
    parser.add_argument(
        "--out", required=True, type=Path, metavar="FILE", help="a name ending in .csv or .xlsx"
    )


def run_list(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.quarantine import find_waiting, waiting_lines

    waiting = find_waiting(arguments.network, site_id=arguments.site)
    if arguments.json:
        print(json.dumps(waiting.to_json(), indent=1, ensure_ascii=False))
        return 0
    print("\n".join(waiting_lines(waiting)) or "Nothing waits.")
    print(
        f"Rows that wait: {waiting.n_rows:,}; refused files: {waiting.n_refused:,}; rows that "
        f"waited once and came right: {waiting.n_resolved:,}."
    )
    if waiting.n_rows:
        print("Row by row: elastoqa quarantine show FILE-ID")
    return 0


def run_show(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.quarantine import trace_file, trace_lines

    trace = trace_file(arguments.network, file_number=arguments.file, row_no=arguments.row)
    print("\n".join(trace_lines(trace)))
    return 0


def run_retry_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.folder import find_key
    from qa.jobs.progress_bar import ProgressBar
    from qa.jobs.quarantine import run_retry

    key = find_key(arguments.network, environ)
    with ProgressBar("Reading exports again") as progress:
        report = run_retry(
            arguments.network,
            key=key,
            known_at=now(),
            by=by_words(arguments),
            site_id=arguments.site,
            file_number=arguments.file,
            progress=progress,
        )
    for problem in report.intake.problems:
        print(f"elastoqa: {problem.message}", file=sys.stderr)
    for file in report.lost:
        print(f"{file.name}, file {file.number}, is not in incoming/ any more; its rows wait on.")
    print(
        f"Files read again: {report.n_files:,}. Rows that came right: {report.n_resolved:,}; "
        f"that wait on: {report.n_after:,}."
    )
    if report.intake.problems:
        return report.intake.problems[0].exit_code
    return RowsQuarantined.exit_code if report.n_after else 0


def run_sheet(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.return_sheet import write_return_sheet

    report = write_return_sheet(
        arguments.network, site_id=arguments.site, out=arguments.out, at=now()
    )
    if not report.n_lines:
        print(f"{report.path}: nothing waits for this site; the sheet holds its headings only.")
        return 0
    print(
        f"{report.path}: rows to mend {report.n_rows:,}, refused files {report.n_refused:,}, "
        f"lines {report.n_lines:,}."
    )
    return 0
