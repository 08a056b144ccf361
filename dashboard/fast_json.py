"""Answers of callbacks as JSON, written by orjson itself.

Dash's own writer walks every value in Python before orjson sees it, looking for arrays, frames and
pictures; that was half of a screen's time. Screens are components of plain values, which orjson
writes as they are. What it does not know goes the old way.
"""

from typing import Any

import orjson
from dash import _callback, _utils

_slow = _utils.to_json


def write_json(value: Any) -> str:
    """The same text as Dash's own, for components of plain values; dates as ISO 8601, NaN null."""
    try:
        return orjson.dumps(value, default=_as_plain, option=orjson.OPT_NON_STR_KEYS).decode()
    except (TypeError, ValueError):
        return str(_slow(value))


def _as_plain(value: Any) -> Any:
    """Raises: TypeError for what is no component."""
    try:
        return value.to_plotly_json()
    except AttributeError:
        raise TypeError from None


def write_answers_fast() -> None:
    """Let Dash write its callbacks' answers this way; it offers no setting for it."""
    _callback.to_json = write_json
