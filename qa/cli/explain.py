"""Say why a measure moved at a site."""

import argparse
from collections.abc import Mapping
from typing import Any

from qa.cli.shared import add_command
from qa.model.months import parse_month


def add_explain(commands: Any) -> None:
    parser = add_command(
        commands,
        "explain",
        run_explain_command,
        short="say why a measure moved at a site: patients, operator, device or probe",
        long="Share out the change of a measure at a site into referral mix, operators, devices, "
        "probe and technique, and a remainder, weigh what may have caused it, and say so in words, "
        "or that the cause is not established. Reads what is published and changes nothing.",
    )
    parser.add_argument("--site", required=True, metavar="S", help="the site's id")
    parser.add_argument("--measure", required=True, metavar="M", help="the measure's id or key")
    parser.add_argument(
        "--month", required=True, metavar="YYYY-MM", help="as it stood in this month"
    )


def run_explain_command(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.explain import explain_at_site, explain_lines

    view = explain_at_site(
        arguments.network,
        site=arguments.site,
        measure=arguments.measure,
        month=parse_month(arguments.month),
    )
    print("\n".join(explain_lines(view)))
    return 0
