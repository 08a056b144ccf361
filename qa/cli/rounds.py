"""Comparison rounds and agreement from the command line."""

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from qa.cli.devices import add_day, equipment_desk
from qa.cli.shared import add_command
from qa.cli.who import add_by
from qa.model.equipment_words import AssignedBy, Quantity, RoundItem
from qa.model.errors import ExportError, WrongUse


def add_rounds(commands: Any) -> None:
    parser = add_command(
        commands,
        "rounds",
        run_list,
        short="compare sites in rounds, and operators with each other",
        long="Comparison rounds with travelling phantoms or volunteers: plan, report, score. "
        "Scores and their limits are those of ISO 13528. Agreement of operators from paired exams.",
        network=False,
    )
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    add_command(actions, "list", run_list, short="every round", long="Every round.")
    show = add_command(actions, "show", run_show, short="one round", long="One round's report.")
    show.add_argument("round", metavar="ROUND", help="for example ROUND-0001")
    show.add_argument("--site", metavar="S", default="", help="only this site's participants")
    show.add_argument("--out", type=Path, metavar="FILE", help="write it as CSV")
    _add_plan(actions)
    report = add_command(
        actions, "report", run_report, short="report a result", long="Report a result."
    )
    report.add_argument("round", metavar="ROUND", help="for example ROUND-0001")
    report.add_argument("device", metavar="DEVICE", help="which device measured")
    report.add_argument("--value", type=float, metavar="X", required=True, help="mean or median")
    report.add_argument("--uncertainty", type=float, metavar="U", help="its standard uncertainty")
    report.add_argument("--n", type=int, metavar="N", default=1, help="how many measurements")
    add_by(report)
    close = add_command(actions, "close", run_close, short="close a round", long="Close a round.")
    close.add_argument("round", metavar="ROUND", help="for example ROUND-0001")
    close.add_argument("--words", metavar="WORDS", default="", help="closing words")
    add_by(close)
    _add_agreement(actions)


def _add_plan(actions: Any) -> None:
    plan = add_command(actions, "plan", run_plan, short="plan a round", long="Plan a round.")
    plan.add_argument("--title", metavar="WORDS", required=True, help="a few words that name it")
    plan.add_argument(
        "--item", metavar="WORD", default=RoundItem.PHANTOM, help=f"{' or '.join(RoundItem)}"
    )
    plan.add_argument(
        "--quantity", metavar="WORD", default=Quantity.STIFFNESS, help=f"{' or '.join(Quantity)}"
    )
    plan.add_argument("--phantom", metavar="PHANTOM", default="", help="which one travels")
    plan.add_argument("--devices", nargs="+", metavar="D", required=True, help="who takes part")
    plan.add_argument(
        "--assigned",
        metavar="WORD",
        default=AssignedBy.CERTIFICATE,
        help=f"how the value is set: {' or '.join(AssignedBy)} (default: certificate)",
    )
    plan.add_argument(
        "--sigma",
        type=float,
        metavar="X",
        help="standard deviation that the round allows (default: robust, of the results)",
    )
    add_day(plan, "--opens", "first day")
    add_day(plan, "--closes", "last day")
    add_by(plan)


def _add_agreement(actions: Any) -> None:
    parser = add_command(
        actions,
        "agreement",
        run_agreement,
        short="how well operators agree",
        long="Differences with limits of agreement, within-subject CV and ICC from paired exams "
        "in routine data, or repeatability, reproducibility and gauge R&R from a study of your "
        "own; below and above a stiffness.",
    )
    parser.add_argument("--site", metavar="S", help="only this site")
    parser.add_argument(
        "--split", type=float, default=9.0, metavar="KPA", help="the stiffness (default: 9)"
    )
    parser.add_argument(
        "--file",
        type=Path,
        metavar="FILE",
        help="a study: CSV with subject, operator, trial, value",
    )
    parser.add_argument(
        "--keep",
        metavar="TITLE",
        help="keep the study of FILE under this title, without the names in it; Rounds shows it",
    )
    parser.add_argument(
        "--take-back", metavar="STUDY", help="show a study that was kept no more (with --why)"
    )
    parser.add_argument("--why", metavar="WORDS", default="", help="the reason")
    add_by(parser)


def _desk(arguments: argparse.Namespace, environ: Mapping[str, str]) -> Any:
    from qa.jobs.followup.rounds import RoundDesk

    desk = equipment_desk(arguments, environ)
    return RoundDesk(desk.store, desk.network, desk.actor, desk.at)


def run_list(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.round_lines import list_lines

    print("\n".join(list_lines(_desk(arguments, environ).rounds())))
    return 0


def run_show(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.round_lines import round_csv, round_lines

    found = _desk(arguments, environ).round(arguments.round)
    if arguments.out is None:
        print("\n".join(round_lines(found, site_id=arguments.site)))
        return 0
    try:
        arguments.out.write_text(
            round_csv(found, site_id=arguments.site), encoding="utf-8", newline=""
        )
    except OSError as problem:
        raise ExportError(
            f"cannot be written ({problem.strerror})", where=str(arguments.out), code="EXP-020"
        ) from None
    print(f"{arguments.out}: {found.round_id} is written.")
    return 0


def run_plan(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.rounds import RoundPlan

    planned = _desk(arguments, environ).plan(
        RoundPlan(
            title=arguments.title,
            item=arguments.item,
            quantity=arguments.quantity,
            phantom_id=arguments.phantom,
            participants=tuple(arguments.devices),
            opens_on=arguments.opens,
            closes_on=arguments.closes,
            assigned_by=arguments.assigned,
            sigma=arguments.sigma,
        )
    )
    print(f"{planned.round_id} is planned for {len(planned.plan.participants)} participants.")
    return 0


def run_report(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    found = _desk(arguments, environ).report(
        arguments.round,
        participant=arguments.device,
        value=arguments.value,
        uncertainty=arguments.uncertainty,
        n=arguments.n,
    )
    print(f"{found.round_id}: {len(found.missing)} results are missing.")
    return 0


def run_close(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.round_lines import round_lines

    print(
        "\n".join(
            round_lines(_desk(arguments, environ).close(arguments.round, words=arguments.words))
        )
    )
    return 0


def run_agreement(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.agreement import published_exams
    from qa.jobs.followup.round_lines import pair_lines, study_lines

    if arguments.take_back is not None:
        found = _desk(arguments, environ).take_back_study(arguments.take_back, why=arguments.why)
        print(f"{found.study_id} is shown no more.")
        return 0
    if arguments.keep is not None and arguments.file is None:
        raise WrongUse(
            "a study to keep needs its file",
            where="rounds agreement",
            expected="--keep TITLE with --file FILE",
            code="USE-069",
        )
    if arguments.file is not None:
        try:
            text = arguments.file.read_text(encoding="utf-8-sig")
        except (OSError, UnicodeDecodeError):
            raise WrongUse(
                "cannot be read as text", where=str(arguments.file), code="USE-060"
            ) from None
        print("\n".join(study_lines(text, name=arguments.file.name, split=arguments.split)))
        if arguments.keep is not None:
            _keep_study(arguments, environ, text)
        return 0
    exams = published_exams(arguments.network, site_id=arguments.site)
    print("\n".join(pair_lines(exams, split=arguments.split)))
    return 0


def _keep_study(arguments: argparse.Namespace, environ: Mapping[str, str], text: str) -> None:
    from qa.jobs.followup.round_lines import read_study

    table = read_study(text, name=arguments.file.name)
    kept = _desk(arguments, environ).keep_study(title=arguments.keep, table=table)
    print(f"{kept.study_id} is kept without the names in it.")
