"""A pack in the hands of a site: its page, the form to sign it off, and what is still open."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from qa.followup.pack_records import PackRecord
from qa.model.delivery import Sent, Way
from qa.model.months import month_name
from qa.views import words
from qa.views.case_page import TEXT, Field, FormShown
from qa.views.record_page import PlainView

SIGN_OFF = FormShown(
    "sign-off",
    "Sign it off",
    "Sign off",
    (
        Field(
            "comment",
            "A comment for the QA manager",
            TEXT,
            hint="What you will do, or what you see otherwise. It stays on record.",
            is_needed=False,
        ),
    ),
)
_SAID = {
    Sent.WAITING: "not sent yet",
    Sent.SENT: "sent",
    Sent.RECEIVED: "received",
    Sent.OPENED: "opened",
    Sent.RETURNED: "came back",
}


@dataclass(frozen=True)
class OpenPack:
    """A pack with which something is left to do. said: what, in words."""

    site_id: str
    site_name: str
    number: int
    said: str


def issued_view(
    record: PackRecord, *, site_name: str, month: date, is_newest: bool, names: Mapping[str, str]
) -> PlainView:
    """names: account's id → name."""
    title = f"{site_name}, {month_name(month)}: audit pack, issue {record.number}"
    if record.signed_by:
        who = names.get(record.signed_by, record.signed_by)
        state = f"{who} signed it off on {record.signed_at[:10]}."
    elif not is_newest:
        state = "A later issue has taken its place."
    else:
        state = "Nobody has signed it off yet."
    facts = [("SHA-256", record.sha256)]
    facts += [
        (f"To {_target(one.to, one.way)}", _sent(one.state, one.why)) for one in record.sendings
    ]
    if record.comment:
        facts.append(("Comment", record.comment))
    history = [(_minute(record.issued_at), "program", "issued, on record since")]
    history += [
        (_minute(one.at), "program", f"{_SAID[one.state]}: {one.to}") for one in record.sendings
    ]
    history += [(_minute(at), names.get(by, by), "opened it") for by, at in record.opened]
    if record.signed_by:
        history.append(
            (_minute(record.signed_at), names.get(record.signed_by, "?"), "signed it off")
        )
    return PlainView(title, state, tuple(facts), history=tuple(sorted(history)))


def _minute(at: str) -> str:
    """Example: '2026-11-25T10:13:05.1+00:00' → '2026-11-25 10:13'"""
    return at[:16].replace("T", " ")


def _target(to: str, way: Way) -> str:
    return "the shared folder" if way is Way.FOLDER else to


def _sent(state: Sent, why: str) -> str:
    return (
        f"{_SAID[state]} ({why})"
        if state in (Sent.RETURNED, Sent.WAITING) and why
        else _SAID[state]
    )


def open_packs(
    packs: Sequence[tuple[str, int, PackRecord | None]], *, site_names: Mapping[str, str]
) -> tuple[OpenPack, ...]:
    """What is left to do, in the order given; nothing of a pack that is signed off.

    Args: packs: site, number and record; None: it was sent to nobody and nobody opened it.
    """
    return tuple(
        OpenPack(site_id, site_names.get(site_id, site_id), number, said)
        for site_id, number, record in packs
        if (said := _left(record))
    )


def _left(record: PackRecord | None) -> str:
    if record is None:
        return "sent to nobody, opened by nobody"
    if record.signed_by:
        return ""
    parts = [f"came back from {one.to} ({one.why})" for one in record.returned]
    parts += [
        f"could not be sent to {one.to} ({one.why})"
        for one in record.sendings
        if one.state is Sent.WAITING
    ]
    sent = [one.at for one in record.sendings if one.state in (Sent.SENT, Sent.RECEIVED)]
    if record.is_read:
        parts.append("opened, not signed off")
    elif sent:
        parts.append(f"sent on {min(sent)[:10]}, not opened by the site")
    else:
        parts.append("not opened by the site")
    return "; ".join(parts)


def lead_sentence(open_ones: Sequence[OpenPack], *, n_packs: int, month: date) -> str:
    """Example: '12 packs of October 2026; 3 are signed off.'"""
    n_signed = n_packs - len(open_ones)
    number = words.counted(n_packs, "pack")
    verb = "is" if n_signed == 1 else "are"
    return f"{number} of {month_name(month)}; {n_signed} {verb} signed off."
