"""See, set and propose baselines."""

import argparse
import json
from collections.abc import Mapping
from typing import Any

from qa.cli.shared import add_as_known_at, add_command, now


def add_baseline(commands: Any) -> None:
    parser = add_command(
        commands,
        "baseline",
        run_list,
        short="see the baselines of charts, set one, or see where one may be due",
        long="A baseline is the period that a chart's centre line and limits come from. The first "
        "one of a series is frozen by rule; after that only a named person sets another, with a "
        "reason. Every decision is a new fact: what was decided and published before stays.",
        network=False,
    )
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    _add_list(actions)
    _add_set(actions)
    _add_propose(actions)


def _add_list(actions: Any) -> None:
    parser = add_command(
        actions,
        "list",
        run_list,
        short="every baseline with who, when and why",
        long="Every baseline on record with its period, the months taken out, who set it, when "
        "and why. One that no month is drawn against any more is marked 'replaced'.",
    )
    parser.add_argument("--site", metavar="S", help="only this site, its operators and devices")
    parser.add_argument("--measure", metavar="M", help="only this measure (id or key)")
    parser.add_argument("--json", action="store_true", help="for a program")
    add_as_known_at(parser, help="those that were decided by then (a day means its end; UTC)")


def _add_set(actions: Any) -> None:
    parser = add_command(
        actions,
        "set",
        run_set,
        short="set a baseline for a unit and a measure from a month on",
        long="Set a baseline from what is published. Months of its period that lie outside their "
        "own limits are taken out by rule and listed. Run 'elastoqa refresh' afterwards.",
    )
    parser.add_argument(
        "--unit", required=True, metavar="U", help="network, site:ID, operator:ID or device:ID"
    )
    parser.add_argument("--measure", required=True, metavar="M", help="its id or key")
    parser.add_argument(
        "--from",
        required=True,
        dest="from_month",
        metavar="YYYY-MM",
        help="first month of the period; from it on the new baseline is drawn",
    )
    parser.add_argument(
        "--to",
        dest="to_month",
        metavar="YYYY-MM",
        help="last month of the period (default: baseline_months of network.toml)",
    )
    parser.add_argument("--by", required=True, metavar="NAME", help="who decides")
    parser.add_argument("--reason", required=True, metavar="WORDS", help="why, in words")


def _add_propose(actions: Any) -> None:
    parser = add_command(
        actions,
        "propose",
        run_propose,
        short="where another level has held, with the evidence; changes nothing",
        long="Charts whose months have held another level than their baseline, steadily, with the "
        "evidence. Nothing is changed and nothing is ever re-set by itself: a change for the "
        "worse is first of all something to mend.",
    )
    parser.add_argument("--site", metavar="S", help="only this site, its operators and devices")


def run_list(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.baselines import list_baselines

    found = list_baselines(
        arguments.network,
        site=arguments.site,
        measure=arguments.measure,
        as_known_at=arguments.as_known_at,
    )
    if arguments.json:
        rows = [one.row | {"judges": one.judges} for one in found]
        print(json.dumps(rows, default=str, ensure_ascii=False, indent=1))
        return 0
    for one in found:
        print(_listed(one))
    print(f"{len(found):,} baselines.")
    return 0


def _listed(one: Any) -> str:
    row = one.row
    note = "" if one.judges else "  (replaced)"
    lines = [f"{one.unit_name}, {one.measure_title} under {row['criteria_id']}{note}"]
    lines.append(f"  {one.sentence}")
    if (row["version_no"] or 1) == 1:
        reason = row["reason"].rstrip(".")
        lines.append(f"  {row['set_at']:%Y-%m-%d} by {row['set_by']}: {reason}.")
    return "\n".join(lines)


def run_set(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.baselines import set_baseline

    done = set_baseline(
        arguments.network,
        unit=arguments.unit,
        measure=arguments.measure,
        from_month=arguments.from_month,
        to_month=arguments.to_month,
        by=arguments.by,
        reason=arguments.reason,
        at=now(),
    )
    print(f"{done.unit_name}, {done.measure_title}")
    print(f"  {done.sentence}")
    for warning in done.warnings:
        print(f"  Note: {warning}")
    print("Run 'elastoqa refresh' to draw the charts against it.")
    return 0


def run_propose(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.baselines import find_proposals

    found = find_proposals(arguments.network, site=arguments.site)
    for one in found:
        print(f"{one.unit_name}, {one.measure_title}")
        print(f"  {one.sentence}")
        print(f"  To decide: {one.command}")
    if not found:
        print("No chart has held another level than its baseline.")
        return 0
    print(
        f"{len(found):,} charts. Nothing was changed: whether a change is the new normal or "
        "something to mend is for a person to say."
    )
    return 0
