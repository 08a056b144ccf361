"""Questions about data that are too good, on the command line."""

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from qa.cli.shared import add_command, now
from qa.cli.who import acting, add_by


def add_integrity(commands: Any) -> None:
    parser = add_command(
        commands,
        "integrity",
        run_list,
        short="questions about data that are too good",
        long="What the checks ask about sites and operators over the last twelve months. They are "
        "questions, no findings, and only the QA manager sees them until they are released.",
        network=False,
    )
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    _add_list(actions)
    for name, what, words in (
        ("release", run_release, "let the site of a question read it"),
        ("take-back", run_take_back, "show a released question no more"),
    ):
        one = add_command(actions, name, what, short=words, long=f"{words[0].upper()}{words[1:]}.")
        one.add_argument("question", metavar="QUESTION", help="id as listed")
        one.add_argument("--why", required=True, metavar="WORDS", help="stands in the record")
        add_by(one)


def _add_list(actions: Any) -> None:
    words = "list questions, or write what every check says of every unit"
    parser = add_command(
        actions, "list", run_list, short=words, long=f"{words[0].upper()}{words[1:]}."
    )
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="all checks, to a name ending in .csv or .parquet"
    )


def _open(arguments: argparse.Namespace, environ: Mapping[str, str]) -> tuple[Any, Any]:
    from qa.jobs.followup.evidence import open_published
    from qa.jobs.followup.opening import open_record

    return open_record(arguments.network, environ=environ), open_published(arguments.network)


def run_list(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.export import write_frame
    from qa.jobs.followup.integrity import question_lines, seen_questions

    store, published = _open(arguments, environ)
    if arguments.out:
        report = write_frame(published.frame("integrity"), arguments.out)
        print(f"{report.n_rows:,} rows written to {report.path}.")
        return 0
    actor = acting(arguments, environ)
    view = seen_questions(store, actor=actor, published=published)
    print("\n".join(question_lines(view)))
    return 0


def run_release(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.integrity import release

    store, published = _open(arguments, environ)
    one = release(
        store,
        arguments.question,
        why=arguments.why,
        published=published,
        actor=acting(arguments, environ),
        at=now(),
    )
    print(f"{one.question_id} is released: {one.words}")
    return 0


def run_take_back(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.integrity import take_back

    store, _ = _open(arguments, environ)
    actor = acting(arguments, environ)
    one = take_back(store, arguments.question, why=arguments.why, actor=actor, at=now())
    print(f"{one.question_id} is shown no more.")
    return 0
