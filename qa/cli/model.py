"""See the models of expected events and fit one anew."""

import argparse
from collections.abc import Mapping
from typing import Any

from qa.cli.shared import add_command, now
from qa.model.months import month_name, parse_month


def add_model(commands: Any) -> None:
    parser = add_command(
        commands,
        "model",
        run_list,
        short="see the models that say what was to be expected of patients, or fit one anew",
        long="The first model of a measure is fitted and frozen by rule. Only a named person fits "
        "another, with a reason; it judges from a stated month on and earlier months keep theirs.",
        network=False,
    )
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    add_command(
        actions,
        "list",
        run_list,
        short="every model with its period, who froze it, when and why",
        long="Every model on record. Methods shows how well it fits.",
    )
    fit = add_command(
        actions,
        "fit",
        run_fit,
        short="fit a measure's model anew, as a new version",
        long="Fit a model on the case mix counted so far. Run 'elastoqa refresh' afterwards.",
    )
    fit.add_argument("--measure", required=True, metavar="M", help="its id or key")
    fit.add_argument(
        "--from", required=True, dest="from_month", metavar="YYYY-MM", help="first month"
    )
    fit.add_argument("--to", required=True, dest="to_month", metavar="YYYY-MM", help="last month")
    fit.add_argument(
        "--in-force-from",
        metavar="YYYY-MM",
        help="first month that it judges (default: the month after the last)",
    )
    fit.add_argument("--by", required=True, metavar="NAME", help="who decides")
    fit.add_argument("--reason", required=True, metavar="WORDS", help="why, in words")


def run_list(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.models import list_models

    found = list_models(arguments.network)
    for one in found:
        row = one.row
        print(f"{row['model_id']}  {one.measure_title}")
        print(f"  {_sentence(row)}")
        print(f"  {row['set_at']:%Y-%m-%d} by {row['set_by']}: {row['reason'].rstrip('.')}.")
    print(f"{len(found):,} models.")
    return 0


def run_fit(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.models import fit_new_model

    begins = arguments.in_force_from
    done = fit_new_model(
        arguments.network,
        measure=arguments.measure,
        from_month=parse_month(arguments.from_month),
        to_month=parse_month(arguments.to_month),
        in_force_from=parse_month(begins) if begins else None,
        by=arguments.by,
        reason=arguments.reason,
        at=now(),
    )
    print(f"{done.row['model_id']}  {done.measure_title}")
    print(f"  {_sentence(done.row)}")
    print("Run 'elastoqa refresh' to hold newer months against it.")
    return 0


def _sentence(row: Mapping[str, Any]) -> str:
    first = row["in_force_from"]
    judges = "all months" if first.year < 1950 else f"from {month_name(first)} on"
    return (
        f"Fitted on {row['n_exams']:,} exams with {row['n_events']:,} events, "
        f"{month_name(row['from_month'])} to {month_name(row['to_month'])}; judges {judges}; "
        f"fingerprint {row['fingerprint']}."
    )
