"""Documents under control from the command line: propose, preview, approve, read."""

import argparse
from datetime import date
from pathlib import Path
from typing import Any

from qa.cli import document_actions as run
from qa.cli.shared import add_command
from qa.cli.who import add_by
from qa.model.document_words import DocumentKind

DEFINED = [str(kind) for kind in DocumentKind if kind is not DocumentKind.PROTOCOL]


def add_documents(commands: Any) -> None:
    parser = add_command(
        commands,
        "documents",
        run.run_list,
        short="keep protocols, criteria sets and other definitions under control",
        long="Protocols, criteria sets, grade tables and measures, each version with who proposed "
        "and who approved it (two people), from when to when it is in force, what changed, who "
        "has read it, and the fingerprint of its content.",
        network=False,
    )
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    _add_looking(actions)
    _add_propose(actions)
    _add_deciding(actions)


def _action(actions: Any, name: str, what: Any, short: str, *, changes: bool = True) -> Any:
    parser = add_command(actions, name, what, short=short, long=f"{short[0].upper()}{short[1:]}.")
    if changes:
        add_by(parser)
    return parser


def _document(parser: Any) -> None:
    parser.add_argument("document", metavar="DOCUMENT", help="for example common-practice.v1")


def _day(parser: Any, option: str, help: str, *, needed: bool = True) -> None:
    parser.add_argument(option, type=_date, metavar="YYYY-MM-DD", required=needed, help=help)


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is no day like 2026-11-25") from None


def _add_looking(actions: Any) -> None:
    parser = _action(actions, "list", run.run_list, "all versions with their state", changes=False)
    parser.add_argument("--kind", metavar="KIND", help=f"one of {', '.join(DocumentKind)}")
    parser.add_argument("--json", action="store_true", help="for a program")
    parser = _action(
        actions, "show", run.run_show, "one version with its differences and readers", changes=False
    )
    _document(parser)
    parser.add_argument("--text", action="store_true", help="its text as it was proposed")
    parser = _action(
        actions,
        "preview",
        run.run_preview,
        "what a criteria set would do to the newest months; nothing is kept",
        changes=False,
    )
    parser.add_argument("criteria", nargs="?", metavar="ID", help="a criteria set of the program")
    parser.add_argument("--file", type=Path, metavar="FILE", help="a criteria set in a file")
    parser.add_argument(
        "--months", type=int, default=12, metavar="N", help="how many months (default: 12)"
    )
    parser.add_argument("--json", action="store_true", help="for a program")


def _add_propose(actions: Any) -> None:
    parser = _action(actions, "propose", run.run_propose, "propose a version for approval")
    parser.add_argument("kind", metavar="KIND", help=f"one of {', '.join(DocumentKind)}")
    parser.add_argument(
        "name", metavar="ID", help="id of a definition of the program, or of the protocol"
    )
    _day(parser, "--from", "first day on which it is in force")
    parser.add_argument(
        "--changes", metavar="WORDS", required=True, help="what is new in it, in words"
    )
    parser.add_argument("--before", metavar="ID", default="", help="definition that it follows")
    parser.add_argument("--file", type=Path, metavar="FILE", help="the protocol's file")
    parser.add_argument("--title", metavar="WORDS", default="", help="the protocol's title")
    parser.add_argument(
        "--edition", type=int, default=1, metavar="N", help="the protocol's version (default: 1)"
    )
    parser.add_argument("--site", metavar="S", help="only for this site; none: the whole network")


def _add_deciding(actions: Any) -> None:
    parser = _action(actions, "approve", run.run_approve, "approve what somebody else proposed")
    _document(parser)
    parser.add_argument(
        "--fingerprint", metavar="F", default="", help="of what you saw; refused if it is another"
    )
    parser.add_argument("--words", metavar="WORDS", default="", help="a remark")
    parser = _action(actions, "refuse", run.run_refuse, "turn a proposal down")
    _document(parser)
    parser.add_argument("--why", metavar="WORDS", required=True, help="the reason")
    parser = _action(actions, "read", run.run_read, "confirm that you have read it")
    _document(parser)
    parser.add_argument(
        "--site", metavar="S", action="append", default=[], help="site that you speak for"
    )
    parser = _action(actions, "end", run.run_end, "say from when on it is no longer in force")
    _document(parser)
    _day(parser, "--on", "first day without it")
    parser.add_argument("--why", metavar="WORDS", required=True, help="the reason")
