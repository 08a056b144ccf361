"""Operators' files on the command line: training, observed exams, authorisations."""

from pathlib import Path
from typing import Any

from qa.cli import operator_actions as run
from qa.cli.shared import a_day, add_command
from qa.cli.who import add_by
from qa.model.competence_words import ANY_PROBE
from qa.model.words import Probe, Technique


def add_operators(commands: Any) -> None:
    parser = add_command(
        commands,
        "operators",
        run.run_list,
        short="keep operators' files: training, observed exams, authorisations",
        long="What an operator was taught, which exams were watched and signed off, and what the "
        "operator may do from when to when; and which exams no authorisation covers. Do not write "
        "names of patients: texts stay in the record.",
        network=False,
    )
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    _add_looking(actions)
    _add_teaching(actions)
    _add_authorising(actions)


def _action(actions: Any, name: str, what: Any, short: str) -> Any:
    return add_command(actions, name, what, short=short, long=f"{short[0].upper()}{short[1:]}.")


def _changing(actions: Any, name: str, what: Any, short: str) -> Any:
    parser = _action(actions, name, what, short)
    parser.add_argument("operator", metavar="OPERATOR", help="its id, as in network.toml")
    add_by(parser, does="enters it")
    parser.add_argument(
        "--seen",
        type=int,
        metavar="N",
        help="entry of the file that you saw last, as 'show' counts them; refused when somebody "
        "added one since",
    )
    return parser


def _words(parser: Any, help: str, *, needed: bool = True) -> None:
    parser.add_argument("--words", metavar="WORDS", required=needed, default="", help=help)


def _day(parser: Any, option: str, help: str, *, needed: bool = True) -> None:
    parser.add_argument(option, type=a_day, metavar="YYYY-MM-DD", required=needed, help=help)


def _add_looking(actions: Any) -> None:
    parser = _action(actions, "list", run.run_list, "where each operator stands, and what lacks")
    parser.add_argument("--site", metavar="S", help="only this site's operators")
    parser.add_argument("--lacking", action="store_true", help="only those who lack something")
    parser.add_argument("--out", type=Path, metavar="FILE", help="write it as .csv or .parquet")
    parser = _action(actions, "show", run.run_show, "one operator's file with its history")
    parser.add_argument("operator", metavar="OPERATOR", help="its id, as in network.toml")
    parser = _action(
        actions, "outside", run.run_outside, "exams that no authorisation covers on their day"
    )
    _day(parser, "--from", "first day (default: of the newest month)", needed=False)
    _day(parser, "--to", "last day (default: today)", needed=False)
    parser.add_argument("--out", type=Path, metavar="FILE", help="write each exam to this file")


def _add_teaching(actions: Any) -> None:
    for name, what, short in (
        ("train", run.run_train, "enter a training"),
        ("refresh", run.run_refresh, "enter a refresher by a reference examiner"),
    ):
        parser = _changing(actions, name, what, short)
        _day(parser, "--on", "when it was")
        parser.add_argument("--given-by", metavar="NAME", required=True, help="who taught")
        _words(parser, "what was taught")
    parser = _changing(actions, "observe", run.run_observe, "enter an exam that somebody watched")
    _day(parser, "--on", "when it was")
    parser.add_argument("--observer", metavar="NAME", required=True, help="who watched")
    parser.add_argument("--not-yet", action="store_true", help="it is not signed off; needs words")
    _words(parser, "what was seen", needed=False)
    parser = _changing(
        actions, "earlier", run.run_earlier, "state exams from before the exports begin"
    )
    parser.add_argument("--exams", type=int, metavar="N", required=True, help="how many")
    _words(parser, "how that is known")


def _add_authorising(actions: Any) -> None:
    parser = _changing(
        actions, "authorise", run.run_authorise, "allow a technique with a probe, from a day on"
    )
    techniques = ", ".join(Technique)
    parser.add_argument("--technique", metavar="T", required=True, help=f"one of {techniques}")
    probes = ", ".join([ANY_PROBE, *Probe])
    parser.add_argument("--probe", metavar="P", default=ANY_PROBE, help=f"one of {probes}")
    _day(parser, "--from", "first day")
    _day(parser, "--to", "last day (default: until it is ended)", needed=False)
    parser = _changing(actions, "end", run.run_end, "end an authorisation")
    parser.add_argument("number", type=int, metavar="N", help="its number, as 'show' tells it")
    _day(parser, "--to", "its last day")
    parser.add_argument("--why", metavar="WORDS", required=True, help="the reason")
