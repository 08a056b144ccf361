"""Plain pages with forms, drawn by templates; every value is escaped."""

import hashlib
from http import HTTPStatus
from pathlib import Path
from typing import Any

from flask import Response, current_app, make_response, redirect, request
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from dashboard.addresses import Account
from dashboard.rules import screens_of_reader
from qa.model.definitions import CAUTION

PAGES = Environment(
    loader=FileSystemLoader(Path(__file__).parent / "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


def _stamp() -> str:
    """Changes with what plain pages are drawn with, so that browsers may keep it for good."""
    files = (
        Path(__file__).parent / "assets" / name for name in ("look.css", "first.js", "theme.js")
    )
    return hashlib.sha256(b"".join(one.read_bytes() for one in files)).hexdigest()[:12]


STAMP = _stamp()
PAGES.globals["stamp"] = STAMP
PREFIX = "ELASTOQA_PREFIX"
"""Key of the server's settings that holds the path the app is mounted at."""


def plain_page(template: str, *, status: HTTPStatus = HTTPStatus.OK, **values: Any) -> Response:
    """A page of accounts; with `viewer` the menu of who asks, without it only the log-in."""
    prefix = current_app.config.get(PREFIX, "/")
    return _drawn(
        template,
        status=status,
        prefix=prefix,
        here=request.path,
        screens=screens_of_reader(prefix=prefix) if values.get("viewer") else (),
        **values,
    )


def screen_page(
    template: str, *, prefix: str, here: str, status: int = HTTPStatus.OK, **values: Any
) -> Response:
    """A page of the record or of intake, below a screen's name; never kept by a browser."""
    answer = _drawn(
        template,
        status=status,
        prefix=prefix,
        here=here,
        screens=screens_of_reader(prefix=prefix),
        **values,
    )
    answer.headers["Cache-Control"] = "no-store"
    return answer


def _drawn(template: str, *, status: int, prefix: str, **values: Any) -> Response:
    root = prefix.rstrip("/")
    text = PAGES.get_template(template).render(
        prefix=root,
        assets=f"{root}/assets",
        log_in=f"{root}{Account.LOG_IN}",
        caution=CAUTION,
        **values,
    )
    return Response(text, status=status, mimetype="text/html")


def see_other(where: str) -> Response:
    """The answer to a form that was taken: go on at this address (303)."""
    return make_response(redirect(where, HTTPStatus.SEE_OTHER))
