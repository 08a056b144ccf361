"""Work on cases from the command line: what was decided, by whom, and whether it worked."""

from typing import Any

from qa.cli import case_actions as run
from qa.cli.shared import a_day, add_command
from qa.cli.who import add_by
from qa.model.case_words import (
    ActionKind,
    AnnotationKind,
    CauseCategory,
    CauseMethod,
    ExamDecision,
    RetrainingStep,
)
from qa.model.words import UnitKind


def add_cases(commands: Any) -> None:
    parser = add_command(
        commands,
        "cases",
        run.run_list,
        short="decide on signals and follow them to proof",
        long="A case goes from a signal to proof: what happens to the exams concerned, the cause, "
        "an action with a criterion that is set before it, and the check whether it worked. Do not "
        "write names of patients: texts stay in the record.",
        network=False,
    )
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    _add_looking(actions)
    _add_beginning(actions)
    _add_working(actions)
    _add_plan(actions)
    _add_ending(actions)
    _add_beside(actions)


def _action(actions: Any, name: str, what: Any, short: str, *, case: bool = True) -> Any:
    parser = add_command(actions, name, what, short=short, long=f"{short[0].upper()}{short[1:]}.")
    if case:
        parser.add_argument("case", metavar="CASE", help="for example CASE-0001")
    return parser


def _changing(actions: Any, name: str, what: Any, short: str, *, case: bool = True) -> Any:
    parser = _action(actions, name, what, short, case=case)
    add_by(parser, does="decides")
    if case:
        parser.add_argument(
            "--seen",
            type=int,
            metavar="N",
            help="entry of the case that you saw last, as 'show' counts them; refused when "
            "somebody added one since",
        )
    return parser


def _words(parser: Any, option: str, help: str, *, needed: bool = True) -> None:
    parser.add_argument(option, metavar="WORDS", required=needed, default="", help=help)


def _day(parser: Any, option: str, help: str) -> None:
    parser.add_argument(option, type=a_day, metavar="YYYY-MM-DD", required=True, help=help)


def _one_of(parser: Any, option: str, words: Any, help: str, *, needed: bool = True) -> None:
    listed = ", ".join(f'"{word}"' for word in words)
    parser.add_argument(
        option, metavar="WORD", required=needed, default="", help=f"{help}: {listed}"
    )


def _add_looking(actions: Any) -> None:
    parser = _action(actions, "list", run.run_list, "open cases, the next due first", case=False)
    parser.add_argument("--all", action="store_true", help="closed ones too")
    parser.add_argument("--overdue", action="store_true", help="only those whose day has passed")
    parser.add_argument("--site", metavar="S", help="only this site, as in network.toml")
    parser.add_argument("--json", action="store_true", help="for a program")
    _action(actions, "show", run.run_show, "one case with its history")


def _add_beginning(actions: Any) -> None:
    parser = _changing(
        actions, "open", run.run_open, "open a case from items of the list or by hand", case=False
    )
    parser.add_argument("items", nargs="*", metavar="ITEM", help="ids of items of the month's list")
    _words(parser, "--title", "a few words that name it")
    parser.add_argument("--owner", metavar="NAME", required=True, help="who answers for it")
    _day(parser, "--due", "day by which the next step is due")
    _words(parser, "--why", "what was seen; needed without an item", needed=False)
    parser.add_argument("--site", metavar="S", help="its site, without an item; none: the network")
    parser = _changing(
        actions, "dismiss", run.run_dismiss, "review an item and not pursue it", case=False
    )
    parser.add_argument("item", metavar="ITEM", help="id of an item of the month's list")
    _words(parser, "--why", "the reason")
    parser.add_argument("--undo", action="store_true", help="take it up again")


def _add_working(actions: Any) -> None:
    parser = _changing(actions, "assign", run.run_assign, "give it an owner and a day")
    parser.add_argument("--owner", metavar="NAME", required=True, help="who answers for it")
    _day(parser, "--due", "day by which the next step is due")
    parser = _changing(actions, "exams", run.run_exams, "list exams concerned, or decide on them")
    parser.add_argument(
        "exams",
        nargs="*",
        metavar="EXAM",
        help="keys of exams (default: those not reliable behind its items; with --decide all)",
    )
    _one_of(parser, "--decide", ExamDecision, "what happens to them", needed=False)
    _words(parser, "--words", "why; for a recall, who at the clinic decided", needed=False)
    parser = _changing(actions, "contain", run.run_contain, "say what was done at once")
    _words(parser, "--words", "what was done at once")
    parser = _changing(actions, "cause", run.run_cause, "record the cause")
    _one_of(parser, "--category", CauseCategory, "where it lies")
    _one_of(parser, "--method", CauseMethod, "how it was found")
    _words(parser, "--words", "the cause")


def _add_plan(actions: Any) -> None:
    parser = _changing(
        actions, "plan", run.run_plan, "plan an action and how it will be seen that it worked"
    )
    _one_of(parser, "--action", ActionKind, "what is done")
    _words(parser, "--words", "the action")
    parser.add_argument("--owner", metavar="NAME", required=True, help="who does it")
    _day(parser, "--due", "day by which it is done")
    _one_of(parser, "--step", RetrainingStep, "step of the technique, for retraining", needed=False)
    parser.add_argument("--device", metavar="D", default="", help="which device, for service")
    _words(parser, "--decided-by", "who at the clinic decided, for a recall", needed=False)
    limit = parser.add_mutually_exclusive_group(required=True)
    limit.add_argument("--at-most", type=float, metavar="PERCENT", help="each month at most this")
    limit.add_argument("--at-least", type=float, metavar="PERCENT", help="each month at least this")
    parser.add_argument("--months", type=int, default=3, metavar="N", help="months (default: 3)")
    parser.add_argument(
        "--min-exams", type=int, default=50, metavar="N", help="exams in each (default: 50)"
    )
    _day(parser, "--check-on", "day from which the check can be run; months before it count")
    parser.add_argument("--measure", metavar="M", default="", help="default: that of its item")
    parser.add_argument(
        "--unit", nargs=2, metavar=("KIND", "ID"), default=("", ""), help="default: its item's"
    )


def _add_ending(actions: Any) -> None:
    parser = _changing(actions, "done", run.run_done, "record that the action was done")
    _day(parser, "--on", "day on which it was done")
    _words(parser, "--words", "what was done")
    parser = _changing(actions, "check", run.run_check, "work out whether the action worked")
    parser.add_argument("--look", action="store_true", help="only show, record nothing")
    parser = _changing(actions, "put-off", run.run_put_off, "check later, as too few exams came")
    _day(parser, "--to", "the later day")
    _words(parser, "--why", "the reason")
    parser = _changing(actions, "close", run.run_close, "close it; needs a check that it worked")
    _words(parser, "--words", "closing words", needed=False)
    parser = _changing(actions, "reopen", run.run_reopen, "go through the steps again")
    _words(parser, "--why", "the reason")
    parser = _changing(actions, "comment", run.run_comment, "add a comment")
    _words(parser, "--words", "the comment")


def _add_beside(actions: Any) -> None:
    parser = _changing(
        actions, "annotate", run.run_annotate, "write a note into the charts of a unit", case=False
    )
    parser.add_argument("kind", metavar="KIND", help=f"one of {', '.join(UnitKind)}")
    parser.add_argument("unit", metavar="ID", help="its id; 'network' for the network")
    _day(parser, "--day", "when it happened")
    _one_of(parser, "--what", AnnotationKind, "what happened")
    _words(parser, "--words", "the note")
    _changing(
        actions, "remind", run.run_remind, "put overdue cases into the queue to send", case=False
    )
