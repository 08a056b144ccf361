"""A plain page with a form: try a file before intake reads it. Nothing of it is kept.

Without accounts the page answers only on this machine and only to its own form; a page of another
origin cannot send files here. With accounts the guard (dashboard/access.py) sees to both.
"""

import io
import logging
import re
import traceback
from collections.abc import Callable
from http import HTTPStatus
from threading import Lock
from typing import IO, Any, Protocol

from flask import Flask, Request, Response, request
from werkzeug.exceptions import HTTPException, RequestEntityTooLarge

from dashboard.addresses import TITLES, Form, Page, address
from dashboard.own_form import Refused, require_own_form, require_own_host
from dashboard.plain import screen_page
from dashboard.who import csrf_of_request, current_actor, sees_whole_network
from qa.model.errors import UserError
from qa.model.permissions import Permission, may
from qa.views.tried import Proposal, Trial

LOG = logging.getLogger("elastoqa.dashboard")
MAX_FILE_BYTES = 20 * 1024 * 1024
MAX_PROFILE_BYTES = 256 * 1024
MAX_REQUEST_BYTES = MAX_FILE_BYTES + MAX_PROFILE_BYTES + 64 * 1024
"""The file, a profile, and the few fields beside them."""
MAX_PARTS = 8
LONGEST_NAME = 80
CHECK, SUGGEST, SAVE = "check", "suggest", "save"
_ID = re.compile(r'^id\s*=\s*"([a-z0-9][a-z0-9._-]{0,60})"', re.MULTILINE)
_VERSION = re.compile(r"^version\s*=\s*(\d{1,6})\b", re.MULTILINE)
_SEPARATORS = re.compile(r"[\\/]")


class ProfileTools(Protocol):
    """What can be done with a file; handed in by whoever starts the server."""

    def network_name(self) -> str: ...
    def sites(self) -> tuple[tuple[str, str], ...]: ...
    def suggest(self, *, name: str, content: bytes, site_id: str | None) -> Proposal: ...
    def check(
        self, *, name: str, content: bytes, site_id: str | None, profile_text: str = ""
    ) -> Trial: ...


class RequestInMemory(Request):
    """Keeps an uploaded file in memory; Werkzeug would put large ones on the disk."""

    def _get_file_stream(self, *args: Any, **kwargs: Any) -> IO[bytes]:
        return io.BytesIO()


def add_try_file(server: Flask, tools: ProfileTools, *, prefix: str) -> None:
    """Add the form (GET) and its answer (POST). One file is tried at a time."""
    server.request_class = RequestInMemory
    busy = Lock()

    def show() -> Response:
        return answer(tools, busy, prefix=prefix)

    where = prefix.rstrip("/") + Form.TRY.value
    server.add_url_rule(where, "try-file", show, methods=["GET", "POST"])


def answer(tools: ProfileTools, busy: Lock, *, prefix: str) -> Response:
    """The form, and below it what came of a file that was sent; what is wrong is said in words."""
    said: dict[str, Any] = {"message": "", "proposal": None, "trial": None, "profile": ""}
    chosen, status = request.args.get("site", ""), HTTPStatus.OK
    try:
        require_own_host("Files can be tried")
        sites = _own_sites(tools)
        if request.method == "POST":
            require_own_form("The file")
            chosen = _read_form("site")
            said["profile"] = _read_profile()
            if _read_form("what") == SAVE:
                return _saved(said["profile"])
            said |= _try(tools, sites, busy, profile_text=said["profile"])
    except Refused as problem:
        said["message"], status = str(problem), problem.status
    except UserError as error:
        said["message"], status = error.message, HTTPStatus.UNPROCESSABLE_ENTITY
    except Exception as fault:  # Whatever a strange file meets: words, not a blank page.
        _log(fault)
        said["message"] = "The file could not be tried. The fault is ours and is in the log."
        status = HTTPStatus.INTERNAL_SERVER_ERROR
    return _page(said, tools, chosen=chosen, status=status, prefix=prefix)


def _own_sites(tools: ProfileTools) -> tuple[tuple[str, str], ...]:
    """Sites whose files this person may try; all of them where no accounts are in use."""
    actor, sites = current_actor(), tools.sites()
    if actor is None:
        return sites
    return tuple(one for one in sites if may(actor, Permission.TRY_FILE, site_id=one[0]))


def _read_form(name: str) -> str:
    request.max_content_length = MAX_REQUEST_BYTES
    request.max_form_parts = MAX_PARTS
    try:
        return request.form.get(name, "")
    except RequestEntityTooLarge:
        raise _too_large() from None
    except HTTPException:
        raise Refused("The form came in damaged. Send it again.", HTTPStatus.BAD_REQUEST) from None


def _too_large() -> Refused:
    return Refused(
        f"The file is too large to be tried here. Up to {MAX_FILE_BYTES // 1024**2} MB are; "
        "for larger ones: elastoqa profile check FILE --site SITE",
        HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
    )


def _read_profile() -> str:
    """The profile that was sent along, as a file or in the field; "" where there is none."""
    sent = request.files.get("profile_file")
    content = sent.read() if sent is not None and sent.filename else b""
    try:
        text = content.decode("utf-8-sig") if content else _read_form("profile")
    except UnicodeDecodeError:
        raise Refused("The profile is no UTF-8 text.", HTTPStatus.BAD_REQUEST) from None
    if len(text.encode()) > MAX_PROFILE_BYTES:
        raise Refused(
            f"The profile is too long; up to {MAX_PROFILE_BYTES // 1024} kB are taken.",
            HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
        )
    return text if text.strip() else ""


def _saved(text: str) -> Response:
    """The profile as it stands in the field, as a file for profiles/."""
    if not text:
        raise Refused("There is no profile to save.", HTTPStatus.BAD_REQUEST)
    headers = {
        "Content-Disposition": f'attachment; filename="{file_name_of(text)}"',
        "Cache-Control": "no-store",
    }
    return Response(text.replace("\r\n", "\n"), mimetype="application/toml", headers=headers)


def file_name_of(profile_text: str) -> str:
    """By the profile's id and version, so that an older one is not written over.

    Example: file_name_of('id = "harbour"\nversion = 2\n') → "harbour.v2.toml"
    """
    named, version = _ID.search(profile_text), _VERSION.search(profile_text)
    return f"{named[1] if named else 'profile'}.v{version[1] if version else 1}.toml"


def _try(
    tools: ProfileTools, sites: tuple[tuple[str, str], ...], busy: Lock, *, profile_text: str
) -> dict[str, Any]:
    site_id = _read_form("site") or None
    if site_id is None and not sees_whole_network(current_actor(), Permission.TRY_FILE):
        raise Refused("Choose your site.", HTTPStatus.BAD_REQUEST)
    if site_id not in (None, *(site for site, _ in sites)):
        raise Refused("There is no such site in this network.", HTTPStatus.BAD_REQUEST)
    sent = request.files.get("file")
    if sent is None or not sent.filename:
        raise Refused("No file was chosen.", HTTPStatus.BAD_REQUEST)
    name, content = plain_name(sent.filename), sent.read()
    if len(content) > MAX_FILE_BYTES:
        raise _too_large()
    if not busy.acquire(blocking=False):
        raise Refused(
            "Another file is being tried. Send yours again in a moment.",
            HTTPStatus.SERVICE_UNAVAILABLE,
        )
    try:
        if _read_form("what") == SUGGEST:
            return {"proposal": tools.suggest(name=name, content=content, site_id=site_id)}
        if site_id is None and not profile_text:
            raise Refused("Choose the site that sent the file.", HTTPStatus.BAD_REQUEST)
        trial = tools.check(name=name, content=content, site_id=site_id, profile_text=profile_text)
        return {"trial": trial}
    finally:
        busy.release()


def plain_name(name: str) -> str:
    """The last part of a name, printable and short; it is shown, and never opened.

    Example: plain_name("../../etc/October.csv") → "October.csv"
    """
    last = "".join(sign for sign in _SEPARATORS.split(name)[-1] if sign.isprintable())
    return last[-LONGEST_NAME:] if last.strip(". ") else "file"


def _log(fault: Exception) -> None:
    """Where it happened; not what was said, which may quote a cell."""
    where = "".join(traceback.format_tb(fault.__traceback__))
    LOG.error("trying a file failed: %s\n%s", type(fault).__name__, where)


def _page(
    said: dict[str, Any], tools: ProfileTools, *, chosen: str, status: HTTPStatus, prefix: str
) -> Response:
    return screen_page(
        "try_file.html",
        prefix=prefix,
        here=TITLES[Page.INTAKE],
        status=status,
        **said,
        network=_or_nothing(tools.network_name, ""),
        sites=_or_nothing(lambda: _own_sites(tools), ()) if status != HTTPStatus.FORBIDDEN else (),
        chosen=chosen,
        is_of_network=sees_whole_network(current_actor(), Permission.TRY_FILE),
        csrf=csrf_of_request(),
        action=address(Form.TRY, prefix=prefix),
        methods=address(Page.METHODS, prefix=prefix),
        megabytes=MAX_FILE_BYTES // 1024**2,
        check=CHECK,
        suggest=SUGGEST,
        save=SAVE,
    )


def _or_nothing(read: Callable[[], Any], nothing: Any) -> Any:
    """Where network.toml cannot be read, the page says so and stands without it."""
    try:
        return read()
    except UserError:
        return nothing
