"""See and verify the trail of decisions."""

import argparse
import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from qa.cli.shared import add_command, now, parse_moment
from qa.cli.who import acting
from qa.model.errors import TrailBroken, WrongUse

_SHOWN = 20
"""Faults and notes that are printed one by one."""


def add_trail(commands: Any) -> None:
    parser = add_command(
        commands,
        "trail",
        run_list,
        short="see and verify who changed what, and when",
        long="Every change, log-in, view of named data and export stands in the trail with who, "
        "when, what, before and after. Each line carries the hash of the one before it, so "
        "whatever is altered, removed or moved afterwards is found.",
        network=False,
    )
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    _add_list(actions)
    _add_verify(actions)
    _add_head(actions)
    _add_expire(actions)


def _add_list(actions: Any) -> None:
    parser = add_command(
        actions, "list", run_list, short="lines of the trail", long="Lines of the trail."
    )
    parser.add_argument("--class", dest="record_class", metavar="CLASS", help="for example case")
    parser.add_argument("--id", metavar="ID", help="one record, for example CASE-0001")
    parser.add_argument(
        "--by", dest="whose", metavar="NAME", help="what one person did; an account by its e-mail"
    )
    parser.add_argument("--action", metavar="WORDS", help="one kind of change, as listed")
    parser.add_argument("--since", metavar="TIME", help="from this time or day on (UTC)")
    parser.add_argument("--until", metavar="TIME", help="up to this time, or the end of this day")
    parser.add_argument(
        "--last", type=int, default=100, metavar="N", help="how many lines (default: 100)"
    )
    parser.add_argument("--json", action="store_true", help="for a program")


def _add_verify(actions: Any) -> None:
    parser = add_command(
        actions,
        "verify",
        run_verify,
        short="find whatever was altered, removed or reordered",
        long="Walk the trail from its first line and compare it with what is stored. Lines cut "
        "off at the end show only by a hash that was kept outside: give the file with --heads.",
    )
    parser.add_argument(
        "--heads", type=Path, metavar="FILE", help="file written by 'elastoqa trail head'"
    )


def _add_head(actions: Any) -> None:
    parser = add_command(
        actions,
        "head",
        run_head,
        short="write down the newest hash, outside",
        long="Add number and hash of the newest line to a file. Do it daily, to a place that "
        "whoever can write this folder cannot write.",
    )
    parser.add_argument("--out", type=Path, metavar="FILE", help="a file outside of this folder")


def _add_expire(actions: Any) -> None:
    parser = add_command(
        actions,
        "expire",
        run_expire,
        short="remove content older than its class is kept",
        long="Remove the content of records that are older than [retention_years] in network.toml "
        "says. Numbers, times and hashes stay, so the chain still verifies. Open cases stay.",
    )
    parser.add_argument("--apply", action="store_true", help="do it; without, only say what goes")


def run_list(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.opening import open_record
    from qa.jobs.followup.trail import TrailFilter, list_trail
    from qa.jobs.users.opening import id_of_person, names_of_people

    store = open_record(arguments.network, environ=environ)
    since = arguments.since
    wanted = TrailFilter(
        record_class=arguments.record_class or "",
        record_id=arguments.id or "",
        by=id_of_person(store, arguments.whose or ""),
        action=arguments.action or "",
        since=parse_moment(since + "T00:00" if len(since) == 10 else since) if since else None,
        until=parse_moment(arguments.until) if arguments.until else None,
    )
    rows = list_trail(store, wanted, actor=acting(arguments, environ), last=max(arguments.last, 1))
    if arguments.json:
        print(json.dumps([asdict(row) for row in rows], indent=1, ensure_ascii=False))
        return 0
    names = names_of_people(store)
    for row in rows:
        if row.is_expired:
            print(f"{row.no:>7}  {row.at[:19]}  {row.record_class}: content expired")
            continue
        record = f"{row.record_class} {row.record_id}"
        print(
            f"{row.no:>7}  {row.at[:19]}  {names.get(row.by or '', row.by)}  {record}: {row.action}"
        )
        for mark, text in (("-", row.before), ("+", row.after)):
            for line in (text or "").splitlines():
                print(f"         {mark} {line}")
    if not rows:
        print("No such line.")
    return 0


def run_verify(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.opening import open_record
    from qa.jobs.followup.trail import read_heads, verify_trail

    heads = read_heads(arguments.heads) if arguments.heads else []
    found = verify_trail(open_record(arguments.network, environ=environ), heads=heads)
    for words in [fault.sentence for fault in found.faults[:_SHOWN]] + found.notes[:_SHOWN]:
        print(words)
    if not found.is_whole:
        raise TrailBroken(
            f"{len(found.faults):,} faults in {found.n_rows:,} lines",
            where="trail",
            expected="every line as it was written",
            todo="Keep this folder as it is, and compare with a backup",
            code="TRL-001",
        )
    print(
        f"The trail is whole: {found.n_rows:,} lines, {found.n_events:,} events, "
        f"{found.n_expired:,} expired."
    )
    if heads:
        print(f"{found.n_heads:,} hashes kept outside agree.")
    else:
        print("Whether lines are missing at its end shows only with --heads FILE.")
    return 0


def run_head(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.opening import open_record
    from qa.jobs.followup.trail import write_head

    if arguments.out is None:
        raise WrongUse("no file is named", expected="--out FILE", code="USE-040")
    store = open_record(arguments.network, environ=environ)
    line = write_head(store, arguments.out, actor=acting(arguments, environ), at=now())
    print(f"{arguments.out}: {line}")
    return 0


def run_expire(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.opening import open_record
    from qa.jobs.followup.trail import expire_of_network

    gone = expire_of_network(
        arguments.network,
        open_record(arguments.network, environ=environ),
        actor=acting(arguments, environ),
        at=now(),
        is_applied=arguments.apply,
    )
    verb = "removed" if arguments.apply else "would be removed"
    for name, (before, one) in gone.items():
        print(
            f"{name}: content of {one.n_entries:,} lines and {one.n_records:,} records "
            f"before {before[:10]} {verb}."
        )
    if not gone:
        print("network.toml has no [retention_years]; everything is kept.")
    elif not arguments.apply:
        print("Nothing was changed. Do it with --apply.")
    return 0
