"""Who may what: one table that screens, callbacks, downloads, commands and tests read.

Roles are granted permissions, each with how far it reaches. Whoever has several roles may what any
of them allows. Nobody is a role: who is not logged in may nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from qa.model.errors import AccessRefused


class Role(StrEnum):
    """What a person is in the network; a person may have several."""

    QA_MANAGER = "QA manager"
    SITE_LEAD = "site lead"
    OPERATOR = "operator"
    REVIEWER = "reviewer"
    ADMINISTRATOR = "administrator"


class Reach(StrEnum):
    """How far a permission reaches."""

    NETWORK = "network"
    OWN_SITES = "own sites"
    SELF = "self"


class Permission(StrEnum):
    """One thing that a person may do. Reading and changing are never one permission."""

    SEE_RESULTS = "see results"
    SEE_OPERATORS = "see operators by name"
    SEE_EXAMS = "see single exams"
    SEE_INTAKE = "see intake"
    SEE_METHODS = "see methods"
    TRY_FILE = "try a file"
    EXPORT = "export figures"
    DOWNLOAD_PACKS = "download packs"
    SIGN_PACKS = "sign packs off"
    SEE_CASES = "see cases"
    WORK_CASES = "work on cases"
    DECIDE_CASES = "close and reopen cases, dismiss signals"
    COMMENT = "comment"
    ANNOTATE = "annotate charts"
    SEE_COMPETENCE = "see operator files"
    KEEP_COMPETENCE = "keep operator files"
    AUTHORISE = "authorise operators"
    KEEP_EQUIPMENT = "keep the register of devices, enter phantom checks and results of rounds"
    RUN_ROUNDS = "plan and close rounds, keep phantoms"
    SECOND_READ = "read a sample a second time"
    DRAW_SAMPLE = "draw a double-reading sample"
    SEE_DOCUMENTS = "see documents"
    CONFIRM_READING = "confirm that a document was read"
    PROPOSE_DOCUMENTS = "propose documents"
    APPROVE_DOCUMENTS = "approve documents"
    SEE_REQUIREMENTS = "see requirements"
    SIGN_REQUIREMENTS = "sign requirements"
    SEE_INTEGRITY = "see questions about data that were not released"
    RELEASE_INTEGRITY = "release questions about data"
    SEE_HISTORY = "see history"
    SEE_TRAIL = "see the trail"
    KEEP_TRAIL = "expire records, write the head of the trail"
    MANAGE_USERS = "manage users"
    MANAGE_KEYS = "manage keys"
    BACK_UP = "back up and restore"
    RUN_INTAKE = "run intake and refresh"
    OWN_ACCOUNT = "use the own account"


_P = Permission
_NETWORK, _OWN, _SELF = Reach.NETWORK, Reach.OWN_SITES, Reach.SELF

ADMINISTRATORS_OWN = (_P.MANAGE_USERS, _P.MANAGE_KEYS, _P.BACK_UP)
"""What a QA manager may not: she answers for the network's results and does not give out roles."""

# Packs are signed off for a site by whoever leads it; the manager, who issues them, may not.
GRANTS: dict[Role, dict[Permission, Reach]] = {
    Role.QA_MANAGER: {
        **{one: _NETWORK for one in Permission if one not in (*ADMINISTRATORS_OWN, _P.SIGN_PACKS)},
        _P.OWN_ACCOUNT: _SELF,
    },
    Role.SITE_LEAD: {
        _P.SEE_RESULTS: _OWN,
        _P.SEE_OPERATORS: _OWN,
        _P.SEE_EXAMS: _OWN,
        _P.SEE_INTAKE: _OWN,
        _P.SEE_METHODS: _NETWORK,
        _P.TRY_FILE: _OWN,
        _P.EXPORT: _OWN,
        _P.DOWNLOAD_PACKS: _OWN,
        _P.SIGN_PACKS: _OWN,
        _P.SEE_CASES: _OWN,
        _P.WORK_CASES: _OWN,
        _P.COMMENT: _OWN,
        _P.ANNOTATE: _OWN,
        _P.SEE_COMPETENCE: _OWN,
        _P.KEEP_COMPETENCE: _OWN,
        _P.KEEP_EQUIPMENT: _OWN,
        _P.SECOND_READ: _SELF,
        _P.SEE_DOCUMENTS: _NETWORK,
        _P.CONFIRM_READING: _SELF,
        _P.PROPOSE_DOCUMENTS: _OWN,
        _P.SEE_REQUIREMENTS: _OWN,
        _P.SIGN_REQUIREMENTS: _OWN,
        _P.SEE_HISTORY: _OWN,
        _P.OWN_ACCOUNT: _SELF,
    },
    Role.OPERATOR: {
        _P.SEE_RESULTS: _SELF,
        _P.SEE_EXAMS: _SELF,
        _P.SEE_METHODS: _NETWORK,
        _P.EXPORT: _SELF,
        _P.SEE_COMPETENCE: _SELF,
        _P.SECOND_READ: _SELF,
        _P.SEE_DOCUMENTS: _NETWORK,
        _P.CONFIRM_READING: _SELF,
        _P.OWN_ACCOUNT: _SELF,
    },
    Role.REVIEWER: {
        _P.SEE_RESULTS: _NETWORK,
        _P.SEE_OPERATORS: _NETWORK,
        _P.SEE_EXAMS: _NETWORK,
        _P.SEE_INTAKE: _NETWORK,
        _P.SEE_METHODS: _NETWORK,
        _P.EXPORT: _NETWORK,
        _P.DOWNLOAD_PACKS: _NETWORK,
        _P.SEE_CASES: _NETWORK,
        _P.SEE_COMPETENCE: _NETWORK,
        _P.SEE_DOCUMENTS: _NETWORK,
        _P.SEE_REQUIREMENTS: _NETWORK,
        _P.SEE_HISTORY: _NETWORK,
        _P.SEE_TRAIL: _NETWORK,
        _P.OWN_ACCOUNT: _SELF,
    },
    Role.ADMINISTRATOR: {
        _P.SEE_METHODS: _NETWORK,
        _P.SEE_INTAKE: _NETWORK,
        _P.TRY_FILE: _NETWORK,
        _P.MANAGE_USERS: _NETWORK,
        _P.MANAGE_KEYS: _NETWORK,
        _P.BACK_UP: _NETWORK,
        _P.RUN_INTAKE: _NETWORK,
        _P.KEEP_TRAIL: _NETWORK,
        _P.OWN_ACCOUNT: _SELF,
    },
}

READING = frozenset(
    one
    for one in Permission
    if one.name.startswith("SEE_") or one in (_P.EXPORT, _P.DOWNLOAD_PACKS, _P.OWN_ACCOUNT)
)
"""Permissions that change nothing but the own log-in; all that a reviewer may have."""


@dataclass(frozen=True)
class Actor:
    """Somebody who is logged in, or who runs a command.

    Args:
        user_id: stable id of the account; stands in events and in the trail.
        name: as shown to people.
        sites: a site lead's sites.
        operator_id: who this person is among the operators; "" for none.
    """

    user_id: str
    name: str
    roles: tuple[Role, ...]
    sites: tuple[str, ...] = ()
    operator_id: str = ""

    @property
    def own_ids(self) -> frozenset[str]:
        """By which records name this person: the account, and the operator."""
        return frozenset({self.user_id, self.operator_id} - {""})

    def reaches(self, permission: Permission) -> frozenset[Reach]:
        """Every reach that some role of this person has."""
        found = (GRANTS[role].get(permission) for role in self.roles)
        return frozenset(one for one in found if one)


def may(
    actor: Actor | None, permission: Permission, *, site_id: str | None = None, owner: str = ""
) -> bool:
    """Whether somebody may do a thing to something of a site or of a person.

    Args:
        actor: None: nobody is logged in.
        site_id: the thing's site; None: it belongs to the whole network.
        owner: operator id or user id of the person whose thing it is; "": nobody's.
    """
    if actor is None:
        return False
    reaches = actor.reaches(permission)
    if Reach.NETWORK in reaches:
        return True
    if Reach.OWN_SITES in reaches and site_id is not None and site_id in actor.sites:
        return True
    return Reach.SELF in reaches and owner in actor.own_ids


def require(
    actor: Actor | None, permission: Permission, *, site_id: str | None = None, owner: str = ""
) -> Actor:
    """Like may(), but refuses. Returns: the actor. Raises: AccessRefused ACC-001, ACC-002."""
    if actor is None:
        raise AccessRefused("nobody is logged in", todo="Log in first", code="ACC-001")
    if may(actor, permission, site_id=site_id, owner=owner):
        return actor
    raise AccessRefused(
        f"this account may not {permission}"
        + ("" if not actor.reaches(permission) else " outside its own part of the network"),
        expected=f"a role that may: {', '.join(roles_with(permission))}",
        todo="Ask the administrator for the role; nothing was changed",
        code="ACC-002",
    )


def sites_seen(actor: Actor | None, permission: Permission, sites: Sequence[str]) -> list[str]:
    """Those of some sites that somebody may do a thing to."""
    return [site for site in sites if may(actor, permission, site_id=site)]


def roles_with(permission: Permission) -> list[Role]:
    return [role for role in Role if permission in GRANTS[role]]


SUPPRESS_BELOW = 5
"""Cells under this are not shown in what leaves a site (domain: small-cell rule, a proposal)."""


def suppress_small(
    counts: Sequence[int | None], *, below: int = SUPPRESS_BELOW
) -> list[int | None]:
    """Take small cells out of a row whose total is shown.

    A single cell taken out could be worked out from the total, so the smallest of the others goes
    with it.

    Args:     counts: cells that add up to a total; None: not known.
    Returns:  the cells in the same order, None where not to be shown.
    Example:  [3, 40, 12] → [None, 40, None]
    """
    is_small = [one is not None and one < below for one in counts]
    shown = [None if small else one for one, small in zip(counts, is_small, strict=True)]
    left = [(one, number) for number, one in enumerate(shown) if one is not None]
    if sum(is_small) == 1 and left:
        shown[min(left)[1]] = None
    return shown
