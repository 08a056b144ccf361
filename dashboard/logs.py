"""The server's log: JSON lines, without what a person typed, a query or a cell's value."""

import json
import logging
import os
import time
import traceback
from datetime import UTC, datetime
from pathlib import Path

from flask import Flask, Response, g, request

from dashboard.who import current_actor

OURS = "elastoqa"
LOG = logging.getLogger(f"{OURS}.requests")
QUIET = frozenset({"/health", "static", "_dash_assets.static"})
_ROOT = Path(__file__).resolve().parents[1]


class JsonLines(logging.Formatter):
    """One JSON object a line.

    Other programs' messages are kept as their pattern, without what was put into it, and left out
    where they have none: they may quote what was sent. Errors are kept as kinds and places.
    """

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, object] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.casefold(),
            "log": record.name,
            "process": os.getpid(),
            "said": self._said(record),
            **getattr(record, "facts", {}),
        }
        if record.exc_info and record.exc_info[1] is not None:
            line["fault"] = places(record.exc_info[1])
        return json.dumps(line)

    def _said(self, record: logging.LogRecord) -> str:
        if record.name.split(".")[0] == OURS:
            return record.getMessage()
        return str(record.msg) if record.args else ""


def places(fault: BaseException) -> list[str]:
    """The way through the code and the kind of the error, without its message.

    Example: ['dashboard/app.py:205 render', 'KeyError']
    """
    found = []
    for frame in traceback.extract_tb(fault.__traceback__):
        path = Path(frame.filename)
        is_ours = path.is_relative_to(_ROOT)
        name = path.relative_to(_ROOT).as_posix() if is_ours else "/".join(path.parts[-2:])
        found.append(f"{name}:{frame.lineno} {frame.name}")
    return [*found, type(fault).__qualname__]


def write_json_lines() -> None:
    """Send every log of this process to stderr as JSON lines."""
    handler = logging.StreamHandler()
    handler.setFormatter(JsonLines())
    logging.root.handlers[:] = [handler]
    logging.getLogger(OURS).setLevel(logging.INFO)


def add_request_log(server: Flask) -> None:
    """A line for each request: pattern of the address (never a link's token), who, how long."""

    @server.before_request
    def begin() -> None:
        g.begun = time.perf_counter()

    @server.after_request
    def note(response: Response) -> Response:
        if request.endpoint not in QUIET:
            actor = current_actor()
            facts = {
                "method": request.method[:12],
                "address": str(request.url_rule) if request.url_rule else "",
                "status": response.status_code,
                "ms": round(1000 * (time.perf_counter() - g.get("begun", time.perf_counter())), 1),
                "person": actor.user_id if actor else "",
            }
            LOG.info("request", extra={"facts": facts})
        return response
