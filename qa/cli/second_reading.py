"""Second readings on the command line."""

from pathlib import Path
from typing import Any

from qa.cli import reading_actions as run
from qa.cli.shared import a_day, a_month, add_command
from qa.cli.who import add_by
from qa.model.competence_words import READ_OUTCOMES, PickReason


def add_second_reading(commands: Any) -> None:
    parser = add_command(
        commands,
        "second-reading",
        run.run_list,
        short="have a sample of exams read by a second person, blind",
        long="Draws exams of each operator and month by chance that can be repeated, adds picks "
        "with a reason, hands them to a second reader who sees no first result, and says how far "
        "both agree. Do not write names of patients: texts stay in the record.",
        network=False,
    )
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    _add_drawing(actions)
    _add_reading(actions)
    _add_comparing(actions)


def _action(actions: Any, name: str, what: Any, short: str) -> Any:
    return add_command(actions, name, what, short=short, long=f"{short[0].upper()}{short[1:]}.")


def _by(parser: Any) -> Any:
    add_by(parser)
    return parser


def _sample(parser: Any) -> None:
    parser.add_argument("sample", metavar="SAMPLE", help="for example op-1.2026-10")


def _add_drawing(actions: Any) -> None:
    parser = _by(_action(actions, "draw", run.run_draw, "draw samples of a month by chance"))
    parser.add_argument("operators", nargs="*", metavar="OPERATOR", help="default: all")
    parser.add_argument(
        "--month", type=a_month, metavar="YYYY-MM", help="default: the newest published"
    )
    parser = _by(
        _action(actions, "pick", run.run_pick, "show exams that stand out, or add some to a sample")
    )
    _sample(parser)
    parser.add_argument("exams", nargs="*", metavar="EXAM", help="keys (default: only show some)")
    reasons = ", ".join(f'"{one}"' for one in PickReason)
    parser.add_argument("--reason", metavar="WORD", default="", help=f"why: {reasons}")
    parser = _by(_action(actions, "assign", run.run_assign, "give exams to a second reader"))
    _sample(parser)
    parser.add_argument("codes", nargs="*", metavar="CODE", help="default: all not read yet")
    parser.add_argument(
        "--reader",
        metavar="NAME",
        required=True,
        help="who reads them: e-mail of an account, or an operator",
    )
    parser.add_argument(
        "--operator", metavar="OPERATOR", default="", help="the reader's own id as an operator"
    )
    parser = _by(
        _action(actions, "places", run.run_places, "where the exams are, for whoever hands them on")
    )
    _sample(parser)


def _add_reading(actions: Any) -> None:
    parser = _by(_action(actions, "sheet", run.run_sheet, "write a reader's sheet to fill in"))
    parser.add_argument("--out", type=Path, metavar="FILE", required=True, help="a .csv file")
    parser = _by(_action(actions, "enter", run.run_enter, "enter a filled sheet, whole or not"))
    parser.add_argument("file", type=Path, metavar="FILE", help="as 'sheet' writes it")
    parser = _by(_action(actions, "read", run.run_read, "enter what you say of one exam"))
    parser.add_argument("code", metavar="CODE", help="the exam's code, as the sheet has it")
    words = ", ".join(READ_OUTCOMES)
    parser.add_argument("--outcome", metavar="WORD", required=True, help=f"one of {words}")
    parser.add_argument("--kpa", type=float, metavar="X", help="stiffness, kPa")
    parser.add_argument("--db-m", type=float, metavar="X", help="attenuation, dB/m")
    parser.add_argument("--words", metavar="WORDS", default="", help="remarks")


def _add_comparing(actions: Any) -> None:
    _action(actions, "list", run.run_list, "samples, and how many exams were read")
    parser = _action(actions, "show", run.run_show, "one sample; proves that it was drawn by rule")
    _sample(parser)
    parser = _action(actions, "agreement", run.run_agreement, "how far first and second agree")
    parser.add_argument("--operator", metavar="OPERATOR", help="only this one's exams")
    parser.add_argument("--since", type=a_month, metavar="YYYY-MM", help="months from this on")
    parser = _by(_action(actions, "case", run.run_case, "open a case from a reading that differs"))
    _sample(parser)
    parser.add_argument("code", metavar="CODE", help="the exam's code")
    parser.add_argument("--owner", metavar="NAME", required=True, help="who answers for it")
    parser.add_argument(
        "--due", type=a_day, metavar="YYYY-MM-DD", required=True, help="day of the next step"
    )
