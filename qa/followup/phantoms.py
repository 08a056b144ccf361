"""A phantom: what its certificates say, and until when they count."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import isfinite

from qa.drift.phantom_checks import Certificate
from qa.followup.records import RecordClass, clean_text
from qa.model.equipment_words import UNITS, Quantity
from qa.model.errors import FollowupError
from qa.model.record import Event, NewEvent


@dataclass(frozen=True)
class CertificateEntry:
    """One certificate. expanded: uncertainty of the value with coverage factor 2."""

    number: str
    value: float
    expanded: float
    issued_on: date
    expires_on: date

    @property
    def plain(self) -> Certificate:
        return Certificate(self.value, self.expanded, self.expires_on)


@dataclass(frozen=True)
class Phantom:
    """A phantom with its certificates, the newest last. site_id "": it travels."""

    phantom_id: str
    name: str
    quantity: str
    site_id: str
    certificates: tuple[CertificateEntry, ...]
    is_retired: bool = False
    n_events: int = 1

    @property
    def unit(self) -> str:
        return UNITS[self.quantity]

    @property
    def newest(self) -> CertificateEntry:
        return self.certificates[-1]

    def certificate_on(self, day: date) -> CertificateEntry | None:
        """The one issued last by that day, valid or not; None before the first."""
        found = [one for one in self.certificates if one.issued_on <= day]
        return found[-1] if found else None


def replay_phantom(events: Sequence[Event]) -> Phantom:
    first = events[0].values
    certificates = tuple(
        CertificateEntry(
            number=one.values["certificate"],
            value=one.values["value"],
            expanded=one.values["expanded"],
            issued_on=date.fromisoformat(one.values["issued_on"]),
            expires_on=date.fromisoformat(one.values["expires_on"]),
        )
        for one in events
        if one.kind in ("registered", "certified anew")
    )
    return Phantom(
        phantom_id=events[0].record_id,
        name=first["name"],
        quantity=first["quantity"],
        site_id=first["site_id"],
        certificates=certificates,
        is_retired=events[-1].kind == "retired",
        n_events=events[-1].no,
    )


def plain_phantom(one: Phantom) -> dict[str, str]:
    newest = one.newest
    return {
        "Name": one.name,
        "Quantity": one.quantity,
        "Site": one.site_id or "travels",
        "Certificate": f"{newest.number}: {newest.value:g} ± {newest.expanded:g} {one.unit}",
        "Issued": str(newest.issued_on),
        "Expires": str(newest.expires_on),
        "Retired": "yes" if one.is_retired else "",
    }


PHANTOM = RecordClass("phantom", "the phantom", replay_phantom, plain_phantom)


@dataclass(frozen=True)
class CertificateForm:
    """A certificate as entered."""

    number: str
    value: float
    expanded: float
    issued_on: date
    expires_on: date


def register_phantom(
    one: Phantom | None,
    *,
    name: str,
    quantity: str,
    site_id: str,
    certificate: CertificateForm,
    on: date,
) -> list[NewEvent]:
    """Raises: FollowupError FUP-021 (there already), EQP-010 (no full certificate)."""
    if one is not None:
        raise FollowupError("it is registered already", where=one.phantom_id, code="FUP-021")
    if quantity not in list(Quantity):
        raise FollowupError(
            f"'{quantity[:60]}' is no quantity",
            where="phantom",
            expected=f"one of {', '.join(Quantity)}",
            code="EQP-010",
        )
    data = {
        "name": clean_text(name, field="name", is_needed=False, longest=200),
        "quantity": quantity,
        "site_id": site_id,
        **_certificate(certificate, on=on),
    }
    return [NewEvent("registered", data)]


def certify_anew(one: Phantom, *, certificate: CertificateForm, on: date) -> list[NewEvent]:
    """Raises: FollowupError EQP-010; EQP-011 when it is older than the newest one."""
    if certificate.issued_on < one.newest.issued_on:
        raise FollowupError(
            f"a certificate of {certificate.issued_on}",
            where=f"phantom {one.phantom_id}",
            expected=f"one issued after the newest, which is of {one.newest.issued_on}",
            todo="Nothing was changed",
            code="EQP-011",
        )
    return [NewEvent("certified anew", _certificate(certificate, on=on))]


def retire_phantom(one: Phantom, *, why: str) -> list[NewEvent]:
    """Its checks stay; no new one is taken."""
    if one.is_retired:
        raise FollowupError("it is retired already", where=one.phantom_id, code="FUP-021")
    return [NewEvent("retired", {"why": clean_text(why, field="why")})]


def _certificate(one: CertificateForm, *, on: date) -> dict[str, str | float]:
    fits = one.value > 0 and 0 < one.expanded < one.value and isfinite(one.value)
    if not fits or one.expires_on <= one.issued_on or one.issued_on > on:
        raise FollowupError(
            f"{one.value:g} ± {one.expanded:g}, issued {one.issued_on}, ends {one.expires_on}",
            where="certificate",
            expected="a value above 0, its expanded uncertainty (below the value), issued by today "
            "and ending later than issued",
            todo="Copy it from the certificate; nothing was changed",
            code="EQP-010",
        )
    return {
        "certificate": clean_text(one.number, field="certificate", longest=200),
        "value": one.value,
        "expanded": one.expanded,
        "issued_on": one.issued_on.isoformat(),
        "expires_on": one.expires_on.isoformat(),
    }
