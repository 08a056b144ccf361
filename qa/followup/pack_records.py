"""What became of an issued pack: to whom it went, whether it was opened, who signed it off."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from qa.followup.records import RecordClass, clean_text
from qa.model.delivery import Sent, Way
from qa.model.errors import FollowupError
from qa.model.record import Event, NewEvent

ISSUED, SENT, NOT_SENT, RECEIVED = "issued", "sent", "not sent", "received"
RETURNED, OPENED, SIGNED = "returned", "opened", "signed off"
MAX_WHY = 400
Decide = Callable[["PackRecord | None"], list[NewEvent]]
_BY_REPORT = {RECEIVED: Sent.RECEIVED, RETURNED: Sent.RETURNED, OPENED: Sent.OPENED}


@dataclass(frozen=True)
class Sending:
    """One delivery. to: an address or a folder. why: what the last try was answered with."""

    to: str
    way: Way
    state: Sent
    why: str = ""
    at: str = ""


@dataclass(frozen=True)
class PackRecord:
    """One issue of one site's pack.

    Args:
        sha256: of the issued file.
        opened: who opened it, by account, and when; is_lead: it was somebody of the site.
        signed_by, signed_at, comment: "" until somebody signed it off.
    """

    pack_id: str
    site_id: str
    month: str
    number: int
    sha256: str
    issued_at: str
    sendings: tuple[Sending, ...] = ()
    opened: tuple[tuple[str, str], ...] = ()
    is_opened_by_site: bool = False
    signed_by: str = ""
    signed_at: str = ""
    comment: str = ""
    n_events: int = 0

    def sending(self, to: str) -> Sending | None:
        return next((one for one in self.sendings if one.to == to), None)

    @property
    def returned(self) -> tuple[Sending, ...]:
        return tuple(one for one in self.sendings if one.state is Sent.RETURNED)

    @property
    def is_read(self) -> bool:
        """Somebody of the site opened it, or a mail program said so, or it is signed off."""
        by_mail = any(one.state is Sent.OPENED for one in self.sendings)
        return self.is_opened_by_site or by_mail or bool(self.signed_by)


def replay_pack(events: Sequence[Event]) -> PackRecord:
    first = events[0]
    values = first.values
    pack = PackRecord(
        first.record_id,
        values["site_id"],
        values["month"],
        values["number"],
        values["sha256"],
        first.at,
        n_events=1,
    )
    for event in events[1:]:
        pack = replace(_after(pack, event), n_events=event.no)
    return pack


def _after(pack: PackRecord, event: Event) -> PackRecord:
    values = event.values
    if event.kind == SIGNED:
        return replace(
            pack, signed_by=event.by, signed_at=event.at, comment=values.get("comment", "")
        )
    if event.kind == OPENED and "to" not in values:
        by_site = pack.is_opened_by_site or values["is_site"]
        return replace(pack, opened=(*pack.opened, (event.by, event.at)), is_opened_by_site=by_site)
    state = {SENT: Sent.SENT, NOT_SENT: Sent.WAITING, **_BY_REPORT}[event.kind]
    old = pack.sending(values["to"])
    way = Way(values.get("way") or (old.way if old else Way.MAIL))
    new = Sending(values["to"], way, state, values.get("why", ""), event.at)
    others = tuple(one for one in pack.sendings if one.to != new.to)
    return replace(pack, sendings=(*others, new))


def plain_pack(pack: PackRecord) -> dict[str, str]:
    return {
        "Pack": pack.pack_id,
        "SHA-256": pack.sha256,
        **{f"To {one.to}": f"{one.state} {one.why}".strip() for one in pack.sendings},
        "Opened by": ", ".join(by for by, _ in pack.opened),
        "Signed off by": pack.signed_by,
        "Comment": pack.comment,
    }


PACK = RecordClass(
    "issued pack",
    "the pack",
    replay_pack,
    plain_pack,
    harmless=frozenset({SENT, NOT_SENT, RECEIVED, RETURNED, OPENED}),
)


def issue(
    pack: PackRecord | None, *, site_id: str, month: str, number: int, sha256: str
) -> list[NewEvent]:
    """Raises: FollowupError PCK-030 when the record knows other bytes under this number."""
    if pack is None:
        data = {"site_id": site_id, "month": month, "number": number, "sha256": sha256}
        return [NewEvent(ISSUED, data)]
    if pack.sha256 != sha256:
        raise FollowupError(
            f"the file has SHA-256 {sha256[:12]}…, the record of its issue says "
            f"{pack.sha256[:12]}…",
            where=pack.pack_id,
            todo="It is not delivered. Run 'elastoqa verify' on it",
            code="PCK-030",
        )
    return []


def tell_sent(pack: PackRecord | None, *, to: str, way: Way, why: str) -> list[NewEvent]:
    """why: the answer of the server, or where the file lies."""
    _known(pack)
    return [NewEvent(SENT, {"to": to, "way": way.value, "why": why[:MAX_WHY]})]


def tell_failed(
    pack: PackRecord | None, *, to: str, way: Way, why: str, is_final: bool
) -> list[NewEvent]:
    """Nothing where the record says the same already. is_final: another try would not help."""
    old = _known(pack).sending(to)
    state = Sent.RETURNED if is_final else Sent.WAITING
    if old and (old.state, old.why) == (state, why[:MAX_WHY]):
        return []
    kind = RETURNED if is_final else NOT_SENT
    return [NewEvent(kind, {"to": to, "way": way.value, "why": why[:MAX_WHY]})]


def tell_report(pack: PackRecord | None, *, to: str, state: Sent, why: str) -> list[NewEvent]:
    """What a mail server or program reported back about a delivery.

    Returns: nothing for an address that it did not go to, or for what is known already.
    """
    old = _known(pack).sending(to)
    kind = {found: kind for kind, found in _BY_REPORT.items()}[state]
    settled = (state, Sent.OPENED) if state is Sent.RECEIVED else (state,)
    if old is None or old.state in settled:
        return []
    return [NewEvent(kind, {"to": to, "way": old.way.value, "why": why[:MAX_WHY]})]


def tell_opened(pack: PackRecord | None, *, by: str, is_site: bool) -> list[NewEvent]:
    """Once for each person."""
    if any(one == by for one, _ in _known(pack).opened):
        return []
    return [NewEvent(OPENED, {"is_site": is_site})]


def sign_off(pack: PackRecord | None, *, comment: str, is_newest: bool) -> list[NewEvent]:
    """Raises: FollowupError PCK-031 (signed off already), PCK-033 (replaced), FUP-012, FUP-013."""
    known = _known(pack)
    if not is_newest:
        raise FollowupError(
            "a later issue has taken its place",
            where=known.pack_id,
            todo="Open the newest issue and sign that off; nothing was changed",
            code="PCK-033",
        )
    if known.signed_by:
        raise FollowupError(
            f"it was signed off on {known.signed_at[:10]}",
            where=known.pack_id,
            todo="Nothing was changed",
            code="PCK-031",
        )
    return [NewEvent(SIGNED, {"comment": clean_text(comment, field="comment", is_needed=False)})]


def _known(pack: PackRecord | None) -> PackRecord:
    if pack is None:
        raise FollowupError("there is no such pack on record", code="FUP-014")
    return pack
