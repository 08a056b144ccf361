"""Propose a profile for an export, and try one on a file."""

import argparse
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from qa.cli.shared import EPILOG, add_command, now
from qa.model.errors import ExportError, RowsQuarantined

if TYPE_CHECKING:
    from qa.jobs.profile import SuggestedProfile
    from qa.jobs.profile_preview import Preview


def add_profile(commands: Any) -> None:
    parser = add_command(
        commands,
        "profile",
        run_profile_command,
        short="propose a profile for an export, or try one",
        long="suggest proposes a profile from headings and values, says how sure it is and what it "
        "could not place. check shows the first rows as they would enter, and what would wait and "
        "why. Both only read.",
    )
    parser.add_argument("what", choices=("suggest", "check"), help="what to do")
    parser.add_argument("file", type=Path, metavar="FILE", help="an export of the site")
    parser.add_argument(
        "--site", metavar="S", help="the site that sent the file, as in network.toml"
    )
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="suggest: write the profile here (a new file)"
    )
    parser.add_argument(
        "--profile", type=Path, metavar="FILE", help="check: this profile, not the site's own"
    )
    parser.epilog = EPILOG


def run_profile_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    if arguments.what == "suggest":
        return _suggest(arguments)
    return _check(arguments, environ)


def _suggest(arguments: argparse.Namespace) -> int:
    from qa.jobs.profile import run_profile_suggest

    found = run_profile_suggest(arguments.network, file=arguments.file, site_id=arguments.site)
    if arguments.out is None:
        print(found.text, end="")
        _print_summary(found, sys.stderr)
        return 0
    _write_new(arguments.out, found.text)
    _print_summary(found, sys.stdout)
    print(f"Written to {arguments.out}. Mend it, then: elastoqa profile check FILE --profile …")
    return 0


def _write_new(path: Path, text: str) -> None:
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise ExportError(
            "the file is there already",
            where=str(path),
            todo="Give another name; a profile in use is never written over",
            code="EXP-002",
        ) from None
    except OSError as problem:
        raise ExportError(
            f"cannot be written ({problem.strerror or problem})",
            where=str(path),
            todo="Choose a folder that exists and has room",
            code="EXP-002",
        ) from None


def _print_summary(found: "SuggestedProfile", out: Any) -> None:
    suggestion = found.suggestion
    print(f"Looked at {found.n_rows:,} rows.", file=out)
    for one in suggestion.placed:
        source = f"'{one.heading}'" if one.heading else f"always {one.constant}"
        print(f"  {one.sureness:<7} {one.target} ← {source}: {one.why}", file=out)
    if suggestion.layout:
        listed = ", ".join(suggestion.layout.headings)
        print(f"  likely  single readings ← {listed}: {suggestion.layout.why}", file=out)
    for heading in suggestion.identifying:
        print(f"  left out '{heading}': people, places or free text", file=out)
    for heading, look in suggestion.unplaced:
        print(f"  not placed '{heading}': {look}", file=out)
    for question in suggestion.questions:
        print(f"  ? {question}", file=out)


def _check(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.folder import find_key
    from qa.jobs.profile_preview import run_profile_check

    preview = run_profile_check(
        arguments.network,
        file=arguments.file,
        site_id=arguments.site,
        profile_file=arguments.profile,
        key=find_key(arguments.network, environ),
        known_at=now(),
    )
    print("\n".join(preview.lines()))
    _print_rows(preview)
    return RowsQuarantined.exit_code if preview.n_quarantined else 0


def _print_rows(preview: "Preview") -> None:
    """The first rows, one block each: a line for every column that holds something."""
    for number, row in enumerate(preview.first_rows.iter_rows(named=True), start=1):
        filled = [f"{name} {value}" for name, value in row.items() if value is not None]
        print(f"Row {number} as it would enter: " + " · ".join(filled))
