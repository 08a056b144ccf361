"""Forms of plain pages without accounts: taken only on this machine and only from our own page.

Where people log in, the guard (dashboard/access.py) has seen to both before.

Browsers state the origin of a form (Origin), and newer ones its relation (Sec-Fetch-Site).
Source: OWASP, Cross-Site Request Forgery Prevention (verifying origin with standard headers).
"""

import re
from http import HTTPStatus

from flask import request

from dashboard.who import current_viewer

LOCAL_HOSTS = ("127.0.0.1", "localhost", "[::1]")


class Refused(Exception):
    """What was sent cannot be taken; the message says why, in words."""

    def __init__(self, message: str, status: HTTPStatus) -> None:
        super().__init__(message)
        self.status = status


def require_own_host(what: str) -> None:
    """A name of another machine that resolves to this one gets nothing. what: 'Files can be …'"""
    if current_viewer() is not None:
        return
    if re.sub(r":\d+$", "", request.host) not in LOCAL_HOSTS:
        raise Refused(
            f"{what} on the machine of the dashboard only, at 127.0.0.1.", HTTPStatus.FORBIDDEN
        )


def require_own_form(what: str) -> None:
    """what: the thing that was sent, for the message ("The file")."""
    if current_viewer() is not None:
        return
    origin = request.headers.get("Origin")
    relation = request.headers.get("Sec-Fetch-Site")
    is_own = origin == f"{request.scheme}://{request.host}"
    if not is_own or relation not in (None, "same-origin"):
        raise Refused(
            f"{what} did not come from this page's own form and was not looked at.",
            HTTPStatus.FORBIDDEN,
        )
