"""The command line: one add_<command>() for each command, words for site leads, exit codes.

Exit codes: 0 done · 1 our bug · 2 wrong use · 10 and up: one for each class of error
(qa/model/errors.py). A user's error is one line without a traceback; a bug shows its way through
the code and no values.
"""

import argparse
import os
import sys
from collections.abc import Mapping, Sequence

from qa.cli.backup import add_backup
from qa.cli.baseline import add_baseline
from qa.cli.cases import add_cases
from qa.cli.close import add_close
from qa.cli.crash import crash_lines
from qa.cli.deliver import add_deliver
from qa.cli.demo import add_demo
from qa.cli.devices import add_devices
from qa.cli.documents import add_documents
from qa.cli.explain import add_explain
from qa.cli.export import add_export
from qa.cli.forget import add_forget
from qa.cli.init import add_init
from qa.cli.intake import add_intake
from qa.cli.integrity import add_integrity
from qa.cli.model import add_model
from qa.cli.month import add_month
from qa.cli.operators import add_operators
from qa.cli.packs import add_packs
from qa.cli.phantom import add_phantom
from qa.cli.profile import add_profile
from qa.cli.quarantine import add_quarantine
from qa.cli.refresh import add_refresh
from qa.cli.requirements import add_requirements
from qa.cli.restore import add_restore
from qa.cli.rounds import add_rounds
from qa.cli.rules import require_account, stand_in
from qa.cli.second_reading import add_second_reading
from qa.cli.serve import add_serve
from qa.cli.shared import EPILOG, software_version
from qa.cli.status import add_status
from qa.cli.trail import add_trail
from qa.cli.users import add_users
from qa.cli.verify import add_verify
from qa.cli.withdraw import add_withdraw
from qa.model.errors import UserError

COMMANDS = (
    add_demo,
    add_init,
    add_profile,
    add_intake,
    add_quarantine,
    add_withdraw,
    add_refresh,
    add_baseline,
    add_model,
    add_close,
    add_explain,
    add_month,
    add_packs,
    add_deliver,
    add_export,
    add_status,
    add_verify,
    add_cases,
    add_operators,
    add_second_reading,
    add_documents,
    add_requirements,
    add_devices,
    add_phantom,
    add_rounds,
    add_integrity,
    add_trail,
    add_users,
    add_forget,
    add_backup,
    add_restore,
    add_serve,
)
"""In the order of the help."""
READER_GONE = 141
"""As shells report it: 128 and the number of the signal that a closed pipe sends."""


def main(argv: Sequence[str], environ: Mapping[str, str]) -> int:
    """Run one command.

    Returns: the exit code.
    """
    parser = make_parser()
    arguments = parser.parse_args(argv)
    try:
        require_account(arguments.command, getattr(arguments, "network", None), environ)
        stand_in(arguments, environ)
        code: int = arguments.run(arguments, environ)
        sys.stdout.flush()
        return code
    except UserError as problem:
        print(f"elastoqa: {problem.message}", file=sys.stderr)
        return problem.exit_code
    except KeyboardInterrupt:
        print("elastoqa: stopped. What was finished is kept.", file=sys.stderr)
        return 130
    except BrokenPipeError:  # Whoever read our lines has seen enough, as `| head` does.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return READER_GONE
    except Exception as bug:  # Any fault of ours, shown by its place and without values.
        print("\n".join(crash_lines(bug)), file=sys.stderr)
        return 1


def make_parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="elastoqa",
        description="Quality assurance for networks of liver-elastography clinics.",
        epilog=EPILOG,
    )
    parser.add_argument("--version", action="version", version=f"elastoqa {software_version()}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for add in COMMANDS:
        add(commands)
    return parser
