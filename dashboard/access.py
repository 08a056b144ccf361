"""The guard: nothing is answered before it is known who asks and whether they may.

One function runs before every request, whatever answers it: pages, Dash's own routes, callbacks,
component files, assets, downloads, forms. What has no rule (dashboard/rules.py) is refused.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from http import HTTPStatus
from typing import Any
from urllib.parse import quote, urlsplit

from flask import Flask, Response, g, redirect, request
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response as AnyResponse

from dashboard.addresses import Account, Page, address
from dashboard.callbacks import callback_body
from dashboard.case_pages import MakeDesk
from dashboard.faults import say
from dashboard.origin import is_known_host, is_own_origin
from dashboard.rules import CALLBACK_RULES, ENDPOINT_RULES, OPEN, OPEN_ASSETS, pages_of
from dashboard.safety import is_file_of_ours
from dashboard.source import PublishedSource
from dashboard.who import csrf_of_request, current_actor, current_viewer
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.users.hospital import Hospital
from qa.jobs.users.log_in import FrontDoor, Viewer
from qa.jobs.users.tokens import is_same, new_token
from qa.jobs.users.uses import note_use
from qa.model.definitions import Network
from qa.model.errors import AccessRefused
from qa.model.permissions import Actor, Role
from qa.model.published import Published
from qa.views.seen import seen_by

SESSION, VISIT, CSRF = "elastoqa_session", "elastoqa_visit", "_csrf_token"
CSRF_HEADER, CSRF_FIELD = "X-CSRFToken", "csrf_token"
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
FORM_BYTES, FORM_PARTS = 1024 * 1024, 6_000
ANONYMOUS_BYTES = 16 * 1024
_ASSETS = "_dash_assets.static"
_NEXT = re.compile(r"/(?![/\\])[^\\\x00-\x20\x7f]*")


@dataclass
class Access:
    """What the guard needs; handed in by whoever starts the server.

    Args:
        door: accounts and sessions.
        network: the network as network.toml says it now, for scopes.
        now: the clock, UTC.
        public_url: where people reach the screens; "" for where the request came to.
        hospital: the hospital's log-in; None: not set up.
    """

    door: FrontDoor
    network: Callable[[], Network]
    now: Callable[[], datetime]
    public_url: str = ""
    hospital: Hospital | None = None
    _has_accounts: bool = field(default=False, repr=False)

    def is_open(self) -> bool:
        """Nobody has an account yet. Once somebody has, that is never asked again."""
        if not self._has_accounts:
            self._has_accounts = not self.door.is_open()
        return not self._has_accounts

    @property
    def is_secure(self) -> bool:
        return self.public_url.startswith("https:") or request.is_secure


def client_of_request() -> str:
    """What tells one browser from another: its address and what it calls itself."""
    return f"{request.remote_addr}\n{request.headers.get('User-Agent', '')[:300]}"


def safe_next(text: str, *, prefix: str) -> str:
    """A path of this app to go on to; the front page for anything else.

    Example: safe_next("/site?site=S1", prefix="/") → the same; "//evil.example" → "/"
    """
    is_ours = bool(_NEXT.fullmatch(text)) and text.startswith(prefix)
    parts = urlsplit(text) if is_ours else None
    return text if parts and not parts.scheme and not parts.netloc else prefix


def add_guard(server: Flask, access: Access | None, *, prefix: str) -> None:
    """Guard every request. access None: no accounts; answers this machine only."""

    @server.before_request
    def guard() -> AnyResponse | None:
        if access is None or access.is_open():
            return _open_guard()
        return _guard(access, prefix)

    @server.after_request
    def finish(response: Response) -> Response:
        if g.get("visit") is not None or g.get("viewer") is not None:
            _set_cookies(response, access, prefix)
        return response


def _open_guard() -> AnyResponse | None:
    """A name of another machine that resolves to this one gets nothing."""
    if not is_known_host(""):
        return say(HTTPStatus.FORBIDDEN, "These screens answer at 127.0.0.1 only.")
    if request.endpoint in ("log-in", "log-out", "link", "account", "users", "user"):
        return say(
            HTTPStatus.NOT_FOUND,
            "There are no accounts yet. The first is made with 'elastoqa users invite'.",
        )
    return None


def _guard(access: Access, prefix: str) -> AnyResponse | None:
    client = client_of_request()
    token = request.cookies.get(SESSION, "")
    g.viewer = access.door.viewer(token, client=client, at=access.now())
    if g.viewer is None:
        g.visit = request.cookies.get(VISIT, "") or new_token()
    actor = current_actor()
    endpoint = plain_endpoint(request.endpoint or "", prefix=prefix)
    if not is_known_host(access.public_url) and endpoint != "/health":
        return say(HTTPStatus.FORBIDDEN, "These screens do not answer under this name.")
    rule = ENDPOINT_RULES.get(endpoint)
    if _is_open_asset(endpoint):
        rule = OPEN
    if g.viewer is None and rule is not OPEN:
        return _to_log_in(prefix)
    if request.method not in SAFE_METHODS:
        if not is_own_origin(access.public_url):
            return say(HTTPStatus.FORBIDDEN, "The form is not one of our own pages.")
        if refused := _check_form(rule is OPEN):
            return refused
    if request.endpoint is None:
        return None  # No such address; Flask says so.
    if rule is None or not rule.allows(actor):
        return refuse_access()
    if endpoint == "/" and (first := _first_screen(actor, prefix)):
        return redirect(first)
    if endpoint == "/_dash-update-component" and not _may_call_back(actor):
        return refuse_access()
    return None


def plain_endpoint(endpoint: str, *, prefix: str) -> str:
    """An endpoint's name as dashboard/rules.py has it, wherever the app is mounted.

    Example: plain_endpoint("/qa/_dash-layout", prefix="/qa/") → "/_dash-layout"
    """
    if endpoint.endswith(_ASSETS):
        return _ASSETS
    return endpoint.removeprefix(prefix.rstrip("/"))


def _first_screen(actor: Actor | None, prefix: str) -> str:
    """Where somebody begins who may not open the Month screen; "" for who may."""
    pages = pages_of(actor)
    if Page.MONTH in pages or not pages:
        return ""
    is_administrator = actor is not None and Role.ADMINISTRATOR in actor.roles
    is_bare = set(pages) <= {Page.INTAKE, Page.METHODS}
    return address(Account.USERS if is_administrator and is_bare else pages[0], prefix=prefix)


def _is_open_asset(endpoint: str) -> bool:
    name = str((request.view_args or {}).get("filename", ""))
    return endpoint == _ASSETS and name.startswith(OPEN_ASSETS) and ".." not in name


def _may_call_back(actor: Actor | None) -> bool:
    body = callback_body()
    output = body.get("output") if isinstance(body, dict) else None
    rule = CALLBACK_RULES.get(output) if isinstance(output, str) else None
    return rule is not None and rule.allows(actor)


def _check_form(is_open: bool) -> AnyResponse | None:
    """Every request that may change something carries what only our own page knows."""
    if request.endpoint != "try-file":
        request.max_content_length = ANONYMOUS_BYTES if is_open else FORM_BYTES
        request.max_form_parts = FORM_PARTS
    else:
        from dashboard.try_file import MAX_PARTS, MAX_REQUEST_BYTES

        request.max_content_length = MAX_REQUEST_BYTES
        request.max_form_parts = MAX_PARTS
    try:
        given = request.headers.get(CSRF_HEADER) or request.form.get(CSRF_FIELD, "")
    except HTTPException as problem:
        status = HTTPStatus(problem.code or 400)
        return say(status, "The form is too large or came in damaged.")
    if given and is_same(given, csrf_of_request()):
        return None
    return say(
        HTTPStatus.BAD_REQUEST, "The form is from an older page. Load the page again, then send it."
    )


def _to_log_in(prefix: str) -> AnyResponse:
    """A person is sent to the log-in and back; a program gets 401."""
    if request.method == "GET" and "text/html" in request.headers.get("Accept", ""):
        path = request.full_path.rstrip("?")
        to = address(Account.LOG_IN, prefix=prefix)
        return redirect(f"{to}?next={quote(path, safe='')}" if path != prefix else to)
    return Response("Log in first.\n", HTTPStatus.UNAUTHORIZED, mimetype="text/plain")


def refuse_access() -> AnyResponse:
    return say(HTTPStatus.FORBIDDEN, "This account may not open or do this.")


def _set_cookies(response: Response, access: Access | None, prefix: str) -> None:
    assert access is not None
    shared: dict[str, Any] = {"path": prefix, "secure": access.is_secure}
    if g.get("visit") and request.cookies.get(VISIT) != g.visit:
        response.set_cookie(VISIT, g.visit, httponly=True, samesite="Lax", **shared)
    if response.mimetype == "text/html" and request.cookies.get(CSRF) != csrf_of_request():
        response.set_cookie(CSRF, csrf_of_request(), samesite="Strict", **shared)
    if not is_file_of_ours():
        response.headers["Cache-Control"] = "no-store"


def enter(response: Response, viewer: Viewer, access: Access, *, prefix: str) -> Response:
    """Give the browser its new session; the visit before it is over."""
    g.viewer, g.visit = viewer, None
    response.set_cookie(
        SESSION,
        viewer.token,
        httponly=True,
        samesite="Lax",
        path=prefix,
        secure=access.is_secure,
    )
    response.set_cookie(
        CSRF, csrf_of_request(), samesite="Strict", path=prefix, secure=access.is_secure
    )
    response.delete_cookie(VISIT, path=prefix)
    return response


def leave(response: Response, *, prefix: str) -> Response:
    g.viewer = g.visit = None
    for name in (SESSION, CSRF, VISIT):
        response.delete_cookie(name, path=prefix)
    return response


def note_by(access: Access | None, action: str, what: str, *, snapshot_id: str) -> None:
    """Write down what the current person looked at or took away."""
    actor = current_actor()
    if access is not None and actor is not None:
        note_use(access.door.store, actor, action, what, at=access.now(), snapshot_id=snapshot_id)


def scoped_source(source: PublishedSource, access: Access | None) -> PublishedSource:
    """The snapshot as the current person may see it; the only one that pages are given."""

    def scoped() -> Published:
        published, viewer = source(), current_viewer()
        if viewer is not None:
            return seen_by(published, viewer.actor, peer_key=viewer.account.peer_key)
        if access is None or access.is_open():
            return published
        raise AccessRefused("nobody is logged in", todo="Log in first", code="ACC-001")

    return scoped


def scoped_desk(make_desk: MakeDesk, access: Access | None) -> MakeDesk:
    """The desk of the current person; of whoever started the server while there are no accounts."""

    def scoped() -> CaseDesk:
        desk = make_desk()
        if access is None or access.is_open():
            return desk
        return replace(desk, actor=current_actor())

    return scoped
