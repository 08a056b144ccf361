"""Forms of the Record as they come in: fields of text → decisions."""

from collections.abc import Callable, Mapping
from datetime import date

from qa.followup.documents import Document
from qa.jobs.followup.documents import DocumentDesk
from qa.model.errors import FollowupError

Fields = Mapping[str, str]


def _seen(form: Fields) -> int | None:
    return int(form["seen"]) if form.get("seen", "").isdecimal() else None


def day_of(form: Fields, name: str) -> date:
    """Raises: FollowupError FUP-037 when the field holds no day."""
    try:
        return date.fromisoformat(form.get(name, ""))
    except ValueError:
        raise FollowupError(
            f"'{form.get(name, '')[:20]}' is no day",
            where=name,
            expected="a day like 2026-11-25",
            code="FUP-037",
        ) from None


ACTIONS: dict[str, Callable[[DocumentDesk, str, Fields], Document]] = {
    "approve": lambda desk, one, form: desk.approve(
        one,
        fingerprint=form.get("fingerprint", ""),
        words=form.get("words", ""),
        seen=_seen(form),
    ),
    "turn-down": lambda desk, one, form: desk.turn_down(
        one, why=form.get("why", ""), seen=_seen(form)
    ),
    "read": lambda desk, one, form: desk.confirm_reading(one),
    "end": lambda desk, one, form: desk.end(
        one, on=day_of(form, "on"), why=form.get("why", ""), seen=_seen(form)
    ),
}
"""By the name of the form (qa/views/record_page.py)."""


def act_on_document(desk: DocumentDesk, document_id: str, what: str, form: Fields) -> Document:
    """Raises: AccessRefused; FollowupError FUP-038 (no such decision) and those of the desk."""
    if what not in ACTIONS:
        raise FollowupError("no such decision", where=document_id, code="FUP-038")
    return ACTIONS[what](desk, document_id, form)
