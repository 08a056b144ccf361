"""Plain pages with forms, drawn by templates; every value is escaped."""

import hashlib
from http import HTTPStatus
from pathlib import Path
from typing import Any

from flask import Response, current_app, request
from jinja2 import Environment, FileSystemLoader, StrictUndefined

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
    """A page of the template; with `viewer` the menu of who asks, without it only the log-in."""
    prefix = current_app.config.get(PREFIX, "/")
    text = PAGES.get_template(template).render(
        prefix=prefix.rstrip("/"),
        caution=CAUTION,
        here=request.path,
        screens=screens_of_reader(prefix=prefix) if values.get("viewer") else (),
        **values,
    )
    return Response(text, status=status, mimetype="text/html")
