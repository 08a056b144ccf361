"""What each command does to the network, in the words of the table of permissions.

Whoever may write the folder can do anything in it, so commands ask for no log-in. Where a machine
offers commands to people through a wrapper of its own (sudo, a scheduler), ELASTOQA_ACCOUNT says as
whom: then a command does what that account's roles may in the whole network, and nothing else.
"""

import argparse
from collections.abc import Mapping
from pathlib import Path

from qa.model.errors import AccessRefused
from qa.model.permissions import Actor, Permission, require

ENVIRON_ACCOUNT = "ELASTOQA_ACCOUNT"
_P = Permission

COMMAND_RULES: dict[str, Permission] = {
    "demo": _P.RUN_INTAKE,
    "init": _P.RUN_INTAKE,
    "profile": _P.TRY_FILE,
    "intake": _P.RUN_INTAKE,
    "quarantine list": _P.SEE_INTAKE,
    "quarantine show": _P.SEE_INTAKE,
    "quarantine retry": _P.RUN_INTAKE,
    "quarantine sheet": _P.SEE_INTAKE,
    "withdraw": _P.RUN_INTAKE,
    "refresh": _P.RUN_INTAKE,
    "baseline list": _P.SEE_RESULTS,
    "baseline set": _P.DECIDE_CASES,
    "baseline propose": _P.SEE_RESULTS,
    "model list": _P.SEE_RESULTS,
    "model fit": _P.DECIDE_CASES,
    "explain": _P.SEE_RESULTS,
    "close": _P.RUN_INTAKE,
    "month": _P.RUN_INTAKE,
    "packs": _P.DOWNLOAD_PACKS,
    "deliver": _P.RUN_INTAKE,
    "export": _P.EXPORT,
    "status": _P.SEE_INTAKE,
    "verify": _P.DOWNLOAD_PACKS,
    "cases list": _P.SEE_CASES,
    "cases show": _P.SEE_CASES,
    "cases open": _P.WORK_CASES,
    "cases dismiss": _P.DECIDE_CASES,
    "cases assign": _P.WORK_CASES,
    "cases exams": _P.WORK_CASES,
    "cases contain": _P.WORK_CASES,
    "cases cause": _P.WORK_CASES,
    "cases plan": _P.WORK_CASES,
    "cases done": _P.WORK_CASES,
    "cases check": _P.WORK_CASES,
    "cases put-off": _P.WORK_CASES,
    "cases close": _P.DECIDE_CASES,
    "cases reopen": _P.DECIDE_CASES,
    "cases comment": _P.COMMENT,
    "cases annotate": _P.ANNOTATE,
    "cases remind": _P.WORK_CASES,
    "integrity list": _P.SEE_INTEGRITY,
    "integrity release": _P.RELEASE_INTEGRITY,
    "integrity take-back": _P.RELEASE_INTEGRITY,
    "operators list": _P.SEE_COMPETENCE,
    "operators show": _P.SEE_COMPETENCE,
    "operators outside": _P.SEE_COMPETENCE,
    "operators train": _P.KEEP_COMPETENCE,
    "operators refresh": _P.KEEP_COMPETENCE,
    "operators observe": _P.KEEP_COMPETENCE,
    "operators earlier": _P.KEEP_COMPETENCE,
    "operators authorise": _P.AUTHORISE,
    "operators end": _P.AUTHORISE,
    "second-reading list": _P.SEE_COMPETENCE,
    "second-reading show": _P.SEE_COMPETENCE,
    "second-reading agreement": _P.SEE_COMPETENCE,
    "second-reading draw": _P.DRAW_SAMPLE,
    "second-reading pick": _P.DRAW_SAMPLE,
    "second-reading assign": _P.DRAW_SAMPLE,
    "second-reading places": _P.DRAW_SAMPLE,
    "second-reading sheet": _P.SECOND_READ,
    "second-reading enter": _P.SECOND_READ,
    "second-reading read": _P.SECOND_READ,
    "second-reading case": _P.WORK_CASES,
    "devices list": _P.SEE_RESULTS,
    "devices show": _P.SEE_RESULTS,
    "devices enter": _P.KEEP_EQUIPMENT,
    "devices sign-off": _P.KEEP_EQUIPMENT,
    "phantom list": _P.SEE_RESULTS,
    "phantom register": _P.RUN_ROUNDS,
    "phantom retire": _P.RUN_ROUNDS,
    "phantom check": _P.KEEP_EQUIPMENT,
    "phantom read": _P.KEEP_EQUIPMENT,
    "phantom take-back": _P.KEEP_EQUIPMENT,
    "documents list": _P.SEE_DOCUMENTS,
    "documents show": _P.SEE_DOCUMENTS,
    "documents preview": _P.SEE_DOCUMENTS,
    "documents propose": _P.PROPOSE_DOCUMENTS,
    "documents approve": _P.APPROVE_DOCUMENTS,
    "documents refuse": _P.APPROVE_DOCUMENTS,
    "documents end": _P.APPROVE_DOCUMENTS,
    "documents read": _P.CONFIRM_READING,
    "requirements list": _P.SEE_REQUIREMENTS,
    "requirements verdict": _P.SEE_REQUIREMENTS,
    "requirements export": _P.EXPORT,
    "requirements sign": _P.SIGN_REQUIREMENTS,
    "requirements withdraw": _P.SIGN_REQUIREMENTS,
    "rounds list": _P.SEE_RESULTS,
    "rounds show": _P.SEE_RESULTS,
    "rounds agreement": _P.SEE_RESULTS,
    "rounds plan": _P.RUN_ROUNDS,
    "rounds report": _P.KEEP_EQUIPMENT,
    "rounds close": _P.RUN_ROUNDS,
    "trail list": _P.SEE_TRAIL,
    "trail verify": _P.SEE_TRAIL,
    "trail head": _P.KEEP_TRAIL,
    "trail expire": _P.KEEP_TRAIL,
    "users list": _P.MANAGE_USERS,
    "users invite": _P.MANAGE_USERS,
    "users roles": _P.MANAGE_USERS,
    "users reset": _P.MANAGE_USERS,
    "users disable": _P.MANAGE_USERS,
    "users logout-all": _P.MANAGE_USERS,
    "forget": _P.MANAGE_KEYS,
    "backup": _P.BACK_UP,
    "restore": _P.BACK_UP,
    "serve": _P.BACK_UP,
}
"""By the words of the command. One without a rule is refused to every account."""


def require_command(command: str, actor: Actor) -> None:
    """Raises: AccessRefused ACC-002."""
    permission = COMMAND_RULES.get(command) or COMMAND_RULES.get(command.split(" ")[0])
    if permission is None:
        raise AccessRefused(f"no rule speaks of '{command}'", code="ACC-002")
    require(actor, permission)


def require_account(command: str, folder: Path | None, environ: Mapping[str, str]) -> None:
    """Where ELASTOQA_ACCOUNT names an account, that account must be allowed to run the command.

    Raises: AccessRefused ACC-002; FollowupError USR-006 when there is no such account.
    """
    email = environ.get(ENVIRON_ACCOUNT, "")
    if not email:
        return
    from qa.jobs.users.opening import active_actor

    require_command(command, active_actor(folder or Path(), email, environ=environ))


def stand_in(arguments: argparse.Namespace, environ: Mapping[str, str]) -> None:
    """Where ELASTOQA_ACCOUNT names an account, that account is who does it.

    Raises: AccessRefused ACC-008 when --by names somebody else.
    """
    email = environ.get(ENVIRON_ACCOUNT, "")
    if not email or not hasattr(arguments, "by"):
        return
    if arguments.by not in (None, email):
        raise AccessRefused(
            f"--by names somebody else than {ENVIRON_ACCOUNT}",
            expected=f"no --by, or --by {email}",
            todo="Nothing was changed",
            code="ACC-008",
        )
    arguments.by = email
