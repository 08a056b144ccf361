"""What the programme asks, what was met, and signing for what no data show."""

import argparse
import csv
import io
import json
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from qa.cli.shared import add_command, now
from qa.cli.who import acting, add_by
from qa.model.errors import ExportError, WrongUse
from qa.model.months import iterate_months, parse_month
from qa.model.spreadsheets import safe_text


def add_requirements(commands: Any) -> None:
    parser = add_command(
        commands,
        "requirements",
        run_list,
        short="see what the programme asks and what each site met, month by month",
        long="Requirements in our own words, each with the clause that it answers and how sure "
        "that clause number is. A month is met, not met or without evidence: by data where "
        "there are any, by a signed statement where there are none.",
        network=False,
    )
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    _action(actions, "list", run_list, "the catalogue, with clauses and their marks").add_argument(
        "--signed", action="store_true", help="the statements that were signed, instead"
    )
    parser = _action(actions, "verdict", run_verdict, "what a site met in some months")
    _site_and_months(parser)
    parser.add_argument("--short", action="store_true", help="without evidence")
    parser.add_argument("--json", action="store_true", help="for a program")
    parser = _action(actions, "export", run_export, "verdicts of all sites as CSV")
    _months(parser)
    parser.add_argument("--out", type=Path, metavar="FILE", help="a file; none: on screen")
    _add_signing(actions)


def _action(actions: Any, name: str, what: Any, short: str) -> Any:
    return add_command(actions, name, what, short=short, long=f"{short[0].upper()}{short[1:]}.")


def _months(parser: Any) -> None:
    parser.add_argument("--month", metavar="YYYY-MM", required=True, help="the month, or the last")
    parser.add_argument("--from", metavar="YYYY-MM", help="the first of several months")
    parser.add_argument(
        "--as-known",
        choices=("then", "now"),
        default="then",
        help="then: by the end of the month after it (default); now: with all that came since",
    )


def _site_and_months(parser: Any) -> None:
    parser.add_argument("--site", metavar="S", required=True, help="the site, as in network.toml")
    _months(parser)


def _add_signing(actions: Any) -> None:
    parser = _action(actions, "sign", run_sign, "sign for a requirement that no data decide")
    parser.add_argument("requirement", metavar="REQ", help="for example REQ-016")
    parser.add_argument("--site", metavar="S", help="the site; none: the whole network")
    parser.add_argument("--answer", choices=("met", "not met"), required=True, help="what you say")
    parser.add_argument("--words", metavar="WORDS", required=True, help="what was found, and where")
    parser.add_argument("--from", metavar="YYYY-MM", required=True, help="first month it is for")
    parser.add_argument(
        "--until", metavar="YYYY-MM-DD", type=_date, required=True, help="last day it is for"
    )
    _by(parser)
    parser = _action(actions, "withdraw", run_withdraw, "take a statement back; it stays on record")
    parser.add_argument("statement", metavar="STATEMENT", help="for example SIGN-0001")
    parser.add_argument("--why", metavar="WORDS", required=True, help="the reason")
    _by(parser)


def _by(parser: Any) -> None:
    add_by(parser, does="signs")


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is no day like 2026-11-25") from None


def _desk(arguments: argparse.Namespace, environ: Mapping[str, str]) -> Any:
    from qa.jobs.followup.archive import NetworkArchive
    from qa.jobs.followup.opening import open_record
    from qa.jobs.followup.record_desk import RecordDesk

    store = open_record(arguments.network, environ=environ)
    archive = NetworkArchive(arguments.network)
    return RecordDesk(store, archive, acting(arguments, environ), now())


def _verdicts(arguments: argparse.Namespace, desk: Any, sites: list[str]) -> list[Any]:
    last = parse_month(arguments.month)
    first = parse_month(getattr(arguments, "from") or arguments.month)
    months = list(iterate_months(first, last))
    is_then = arguments.as_known == "then"
    return [one for site in sites for one in desk.verdicts(site, months, is_then=is_then)]


def _require_site(arguments: argparse.Namespace, site: str | None) -> list[str]:
    from qa.jobs.followup.opening import open_network

    sites = [one.id for one in open_network(arguments.network).sites]
    if site is not None and site not in sites:
        raise WrongUse(
            f"there is no site '{site}'", expected=f"one of {', '.join(sites)}", code="USE-054"
        )
    return sites if site is None else [site]


def run_list(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.record_desk import catalogue
    from qa.jobs.followup.requirement_lines import catalogue_lines, statement_line

    if arguments.signed:
        lines = [statement_line(one) for one in _desk(arguments, environ).statements()]
        print("\n".join(lines) or "Nothing was signed yet.")
    else:
        print("\n".join(catalogue_lines(catalogue())))
    return 0


def run_verdict(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.requirement_lines import HEADINGS, verdict_lines, verdict_row

    sites = _require_site(arguments, arguments.site)
    found = _verdicts(arguments, _desk(arguments, environ), sites)
    if arguments.json:
        rows = [dict(zip(HEADINGS, verdict_row(one), strict=True)) for one in found]
        print(json.dumps(rows, indent=1, ensure_ascii=False))
    else:
        print("\n".join(verdict_lines(found, is_short=arguments.short)))
    return 0


def run_export(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.requirement_lines import HEADINGS, verdict_row

    target = io.StringIO()
    writer = csv.writer(target)
    writer.writerow(HEADINGS)
    found = _verdicts(arguments, _desk(arguments, environ), _require_site(arguments, None))
    for one in found:
        row = verdict_row(one)
        writer.writerow([safe_text(cell) if isinstance(cell, str) else cell for cell in row])
    if arguments.out is None:
        print(target.getvalue(), end="")
        return 0
    try:
        arguments.out.write_text(target.getvalue(), encoding="utf-8", newline="")
    except OSError as problem:
        raise ExportError(
            f"cannot be written ({problem.strerror})", where=str(arguments.out), code="EXP-020"
        ) from None
    print(f"{arguments.out}: {len(found):,} verdicts.")
    return 0


def run_sign(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.requirement_lines import statement_line

    if arguments.site:
        _require_site(arguments, arguments.site)
    one = _desk(arguments, environ).sign(
        arguments.requirement,
        site_id=arguments.site,
        is_met=arguments.answer == "met",
        words=arguments.words,
        from_month=parse_month(getattr(arguments, "from")),
        until=arguments.until,
    )
    print(statement_line(one))
    return 0


def run_withdraw(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.requirement_lines import statement_line

    print(
        statement_line(_desk(arguments, environ).withdraw(arguments.statement, why=arguments.why))
    )
    return 0
