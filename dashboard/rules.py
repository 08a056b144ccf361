"""Who may open what: one rule for each address, callback and download. What has none is refused."""

from dataclasses import dataclass

from dashboard.addresses import MENU, Account, Download, Page, address
from dashboard.who import current_viewer
from qa.model.permissions import Actor, Permission, Reach

_P = Permission
_ALL, _NETWORK = frozenset(Reach), frozenset({Reach.NETWORK})
_SITES = frozenset({Reach.NETWORK, Reach.OWN_SITES})


@dataclass(frozen=True)
class Rule:
    """A permission, and the reaches of it that suffice; None: no log-in is needed."""

    permission: Permission | None
    reaches: frozenset[Reach] = _ALL

    def allows(self, actor: Actor | None) -> bool:
        if self.permission is None:
            return True
        return actor is not None and bool(actor.reaches(self.permission) & self.reaches)


OPEN = Rule(None)
LOGGED_IN = Rule(_P.OWN_ACCOUNT)

PAGE_RULES: dict[Page, Rule] = {
    Page.MONTH: Rule(_P.SEE_RESULTS, _NETWORK),
    Page.SITE: Rule(_P.SEE_RESULTS, _SITES),
    Page.OPERATORS: Rule(_P.SEE_RESULTS),
    Page.GRADES: Rule(_P.SEE_RESULTS, _SITES),
    Page.DEVICES: Rule(_P.SEE_RESULTS, _SITES),
    Page.ROUNDS: Rule(_P.SEE_RESULTS, _SITES),
    Page.EXPLAIN: Rule(_P.SEE_RESULTS, _SITES),
    Page.PACK: Rule(_P.DOWNLOAD_PACKS, _SITES),
    Page.FOLLOWUP: Rule(_P.SEE_CASES, _SITES),
    Page.RECORD: Rule(_P.SEE_REQUIREMENTS, _SITES),
    Page.INTAKE: Rule(_P.SEE_INTAKE, _SITES),
    Page.METHODS: Rule(_P.SEE_METHODS),
    Page.EXAMS: Rule(_P.SEE_EXAMS),
    Page.EXAM: Rule(_P.SEE_EXAMS),
}
NAMES_OPERATORS = frozenset(
    {
        *(Page.MONTH, Page.SITE, Page.OPERATORS, Page.EXPLAIN, Page.FOLLOWUP, Page.PACK),
        *(Page.RECORD, Page.EXAMS, Page.EXAM),
    }
)
"""Screens with operators by name; who opened one stands in the trail."""

DOWNLOAD_RULES: dict[Download, Rule] = {
    Download.WORKLIST: Rule(_P.EXPORT, _NETWORK),
    Download.SITES: Rule(_P.EXPORT, _NETWORK),
    Download.CHART: Rule(_P.EXPORT),
    Download.CHARTS: Rule(_P.EXPORT),
    Download.DRAWN: Rule(_P.EXPORT),
    Download.OPERATORS: Rule(_P.EXPORT),
    Download.GRADES: Rule(_P.EXPORT, _SITES),
    Download.EXAMS: Rule(_P.EXPORT),
    Download.EXAM_LIST: Rule(_P.SEE_EXAMS),
    Download.INTAKE: Rule(_P.SEE_INTAKE, _SITES),
    Download.RETURN_SHEET: Rule(_P.SEE_INTAKE, _SITES),
    Download.RECORD: Rule(_P.EXPORT, _SITES),
    Download.ROUND: Rule(_P.EXPORT, _SITES),
    Download.ROUNDS: Rule(_P.EXPORT, _SITES),
    Download.AGREEMENT: Rule(_P.EXPORT, _SITES),
    Download.STUDIES: Rule(_P.EXPORT, _SITES),
    Download.CHECKS: Rule(_P.EXPORT, _SITES),
}

ENDPOINT_RULES: dict[str, Rule] = {
    "/health": OPEN,
    "published": LOGGED_IN,
    "log-in": OPEN,
    "hospital": OPEN,
    "hospital-back": OPEN,
    "link": OPEN,
    "log-out": LOGGED_IN,
    "account": LOGGED_IN,
    "users": Rule(_P.MANAGE_USERS, _NETWORK),
    "user": Rule(_P.MANAGE_USERS, _NETWORK),
    "decide": Rule(_P.DECIDE_CASES, _NETWORK),
    "case": Rule(_P.SEE_CASES, _SITES),
    "open-case": Rule(_P.WORK_CASES, _SITES),
    "read-again": Rule(_P.SECOND_READ),
    "operator-file": Rule(_P.SEE_COMPETENCE),
    "chart-note": Rule(_P.ANNOTATE, _SITES),
    "pack-file": Rule(_P.DOWNLOAD_PACKS, _SITES),
    "review": Rule(_P.DECIDE_CASES, _NETWORK),
    "issued-pack": Rule(_P.DOWNLOAD_PACKS, _SITES),
    "sign-off": Rule(_P.SIGN_PACKS, _SITES),
    "samples": Rule(_P.SEE_COMPETENCE),
    "device-forms": Rule(_P.KEEP_EQUIPMENT, _SITES),
    "round-forms": Rule(_P.KEEP_EQUIPMENT, _SITES),
    "differs": Rule(_P.WORK_CASES, _SITES),
    "release-question": Rule(_P.RELEASE_INTEGRITY, _NETWORK),
    "document": Rule(_P.SEE_DOCUMENTS),
    "sign": Rule(_P.SIGN_REQUIREMENTS, _SITES),
    "statement": Rule(_P.SEE_REQUIREMENTS, _SITES),
    "trail": Rule(_P.SEE_TRAIL, _NETWORK),
    "try-file": Rule(_P.TRY_FILE, _SITES),
    "static": LOGGED_IN,
    "_dash_assets.static": LOGGED_IN,
    "/_dash-component-suites/<string:package_name>/<path:fingerprinted_path>": LOGGED_IN,
    "/_dash-layout": LOGGED_IN,
    "/_dash-dependencies": LOGGED_IN,
    "/_dash-update-component": LOGGED_IN,
    "/_reload-hash": LOGGED_IN,
    "/_favicon.ico": OPEN,
    "/": LOGGED_IN,
    "/<path:path>": LOGGED_IN,
    **{f"download-{where.name}": rule for where, rule in DOWNLOAD_RULES.items()},
}
"""Endpoints as Flask names them, below whatever prefix the app is mounted at."""

CALLBACK_RULES: dict[str, Rule] = {
    # Shows a page by its address; dashboard.app.render asks the page's own rule.
    ".._pages_content.children..._pages_store.data..": LOGGED_IN,
    # Sets the window's title; runs in the browser.
    "_pages_dummy.children": LOGGED_IN,
}
"""Callbacks by their outputs, as Dash names them."""

USERS = "Users"
"""As the menu calls the page of accounts."""
OPEN_ASSETS = ("look.css", "first.js", "theme.js", "fonts/")
"""What the pages before the log-in are drawn with."""


def pages_of(actor: Actor | None) -> list[Page]:
    """Screens that somebody may open, in the order of the menu."""
    return [page for page, rule in PAGE_RULES.items() if rule.allows(actor)]


def screens_of_reader(*, prefix: str) -> list[tuple[str, str]]:
    """Title and address of each screen in the menu of who asks, the own account last.

    All screens where nobody logs in.
    """
    viewer = current_viewer()
    pages = pages_of(viewer.actor) if viewer else list(Page)
    found = [(MENU[page], address(page, prefix=prefix)) for page in pages if page in MENU]
    if viewer and manages_users(viewer.actor):
        found.append((USERS, address(Account.USERS, prefix=prefix)))
    if viewer:
        found.append((viewer.account.name, address(Account.OWN, prefix=prefix)))
    return found


def manages_users(actor: Actor) -> bool:
    return ENDPOINT_RULES["users"].allows(actor)
