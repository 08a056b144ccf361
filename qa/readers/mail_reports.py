"""What came back to the sender of a message: reports of delivery and of reading.

Delivery status notifications (RFC 3464) and message disposition notifications (RFC 8098), with
the Message-ID of the message that they speak of. What is no such report says nothing.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from email import message_from_bytes, policy
from email.message import Message

from qa.model.delivery import Sent

_ACTIONS = {"failed": Sent.RETURNED, "delivered": Sent.RECEIVED}
MAX_REPORT_BYTES = 2 * 1024 * 1024


@dataclass(frozen=True)
class MailReport:
    """to: the address, lower case. why: in the words of the server. message_id: with brackets."""

    message_id: str
    to: str
    state: Sent
    why: str


def read_report(content: bytes) -> list[MailReport]:
    """Reports in one message; empty for any other mail, and for one that is damaged or too large.

    Actions that settle nothing (delayed, relayed, expanded) are left out.
    """
    if len(content) > MAX_REPORT_BYTES:
        return []
    message = message_from_bytes(content, policy=policy.compat32)
    if message.get_content_type() != "multipart/report":
        return []
    parts = list(message.walk())
    message_id = _message_id(parts)
    found = [one for part in parts for one in _reports(part, message_id)]
    return [one for one in found if one.message_id and one.to]


def _message_id(parts: list[Message]) -> str:
    """Of the message that came back, whole or as its headers only."""
    for part in parts:
        kind = part.get_content_type()
        if kind == "text/rfc822-headers":
            headers = part.get_payload(decode=True)
            text = headers if isinstance(headers, bytes) else b""
            return str(message_from_bytes(text).get("Message-ID", "")).strip()
        if kind == "message/rfc822":
            inner = part.get_payload()
            if isinstance(inner, list) and inner and isinstance(inner[0], Message):
                return str(inner[0].get("Message-ID", "")).strip()
    return ""


def _reports(part: Message, message_id: str) -> Iterator[MailReport]:
    kind = part.get_content_type()
    if kind == "message/delivery-status":
        for block in _blocks(part):
            state = _ACTIONS.get(str(block.get("Action", "")).strip().lower())
            if state:
                why = " ".join(str(block.get(key, "")) for key in ("Status", "Diagnostic-Code"))
                yield MailReport(message_id, _address(block), state, _one_line(why))
    elif kind == "message/disposition-notification":
        for block in _blocks(part):
            if str(block.get("Disposition", "")).partition(";")[2].strip().startswith("displayed"):
                own = str(block.get("Original-Message-ID", "")).strip() or message_id
                yield MailReport(own, _address(block), Sent.OPENED, "a mail program says so")


def _blocks(part: Message) -> list[Message]:
    """Groups of fields: the parser gives one message for each, or one text with empty lines."""
    payload = part.get_payload()
    if isinstance(payload, list):
        return [one for one in payload if isinstance(one, Message)]
    text = part.get_payload(decode=True)
    groups = text.replace(b"\r\n", b"\n").split(b"\n\n") if isinstance(text, bytes) else []
    return [message_from_bytes(one.strip() + b"\n\n") for one in groups if one.strip()]


def _address(block: Message) -> str:
    """Example: 'rfc822; Louisl@Larry.Slip.UMD.Edu' → 'louisl@larry.slip.umd.edu'"""
    text = str(block.get("Original-Recipient") or block.get("Final-Recipient") or "")
    return _one_line(text.rpartition(";")[2]).strip("<>").lower()


def _one_line(text: str) -> str:
    return " ".join("".join(one if one.isprintable() else " " for one in text).split())
