"""What a screen's callback may be sent: the parts it was declared with, and nothing else.

Dash takes ids, properties and values from whoever sends them and runs into its own errors where
they do not fit; here such a request ends before.
"""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from dash import Dash
from flask import request
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response as AnyResponse

from dashboard.faults import say

CALL_BACK = "_dash-update-component"
DEEPEST = 12


def add_callback_check(app: Dash) -> None:
    """Refuse callbacks whose parts differ from the declared ones, before Dash reads them."""

    @app.server.before_request
    def check() -> AnyResponse | None:
        if not request.path.endswith(CALL_BACK) or request.method != "POST":
            return None
        if fits(callback_body(), app.callback_map):
            return None
        return say(HTTPStatus.BAD_REQUEST, "The request came in damaged.")


def callback_body() -> Any:
    """What was sent as JSON; None for what is none, or too deep to be read."""
    try:
        return request.get_json(silent=True)
    except (RecursionError, HTTPException):
        return None


def fits(body: Any, known: Mapping[str, Any]) -> bool:
    """Whether a callback's body has the parts of its declaration and plain values.

    Args: known: callbacks by their outputs, as Dash keeps them (inputs and state by id, property).
    """
    declared = known.get(body.get("output", "")) if _has_text(body, "output") else None
    if declared is None:
        return False
    wanted = {"inputs": declared["inputs"], "state": declared.get("state") or []}
    return (
        all(_names(body.get(part) or []) == _names(parts) for part, parts in wanted.items())
        and _are_outputs(body.get("outputs"), body["output"])
        and all(isinstance(one, str) for one in _list(body.get("changedPropIds")))
        and _is_plain(body)
        and all(_is_address(one) for one in body["inputs"] if one["id"] == "_pages_location")
    )


def _has_text(body: Any, key: str) -> bool:
    return isinstance(body, dict) and isinstance(body.get(key), str)


def _list(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [None]


def _names(parts: Any) -> list[tuple[str, str]] | None:
    """Ids and properties in their order; None for what is no list of them."""
    if not isinstance(parts, list):
        return None
    if not all(_has_text(one, "id") and _has_text(one, "property") for one in parts):
        return None
    return [(one["id"], one["property"]) for one in parts]


def _are_outputs(sent: Any, output: str) -> bool:
    """The outputs named one by one are those that the callback is named by."""
    parts = [sent] if isinstance(sent, dict) else sent
    names = _names(parts)
    if names is None:
        return False
    joined = [f"{id}.{name}" for id, name in names]
    return output in (joined[0] if len(joined) == 1 else "", f"..{'...'.join(joined)}..")


def _is_address(part: Mapping[str, Any]) -> bool:
    """A path or query as a browser has it."""
    value = part.get("value")
    if value is None:
        return True
    begins = {"pathname": "/", "search": "?", "hash": "#"}.get(part["property"], "")
    is_empty = value == "" and begins != "/"
    return isinstance(value, str) and (
        is_empty or (value.startswith(begins) and value.isprintable())
    )


def _is_plain(value: Any, *, deep: int = 0) -> bool:
    """JSON of bounded depth whose texts can be written as UTF-8."""
    if deep > DEEPEST:
        return False
    if isinstance(value, str):
        return not any("\ud800" <= one <= "\udfff" for one in value)
    if isinstance(value, list):
        return all(_is_plain(one, deep=deep + 1) for one in value)
    if isinstance(value, dict):
        return all(_is_plain(one, deep=deep + 1) for pair in value.items() for one in pair)
    return True
