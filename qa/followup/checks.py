"""Phantom checks of one device, probe and phantom, as recorded."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import isfinite

from qa.drift.phantom_checks import Session
from qa.followup.phantoms import Phantom
from qa.followup.records import RecordClass, clean_text
from qa.model.errors import FollowupError
from qa.model.record import Event, NewEvent

MIN_VALUES, MAX_VALUES = 3, 50
FAR = 3.0
"""A value beyond so many times the certificate is taken for another unit."""


@dataclass(frozen=True)
class CheckSeries:
    """All sessions that count; taken_back: entries that were withdrawn."""

    device_id: str
    probe: str
    phantom_id: str
    sessions: tuple[Session, ...]
    taken_back: tuple[int, ...] = ()
    n_events: int = 1

    @property
    def key(self) -> tuple[str, str, str]:
        return self.device_id, self.probe, self.phantom_id


def series_id(device_id: str, probe: str, phantom_id: str) -> str:
    return f"{device_id}/{probe}/{phantom_id}"


def replay_checks(events: Sequence[Event]) -> CheckSeries:
    back = {one.values["entry"] for one in events if one.kind == "taken back"}
    sessions = [
        Session(
            no=one.no,
            day=date.fromisoformat(one.values["day"]),
            values=tuple(one.values["values"]),
            operator_id=one.values["operator_id"],
            temperature_c=one.values["temperature_c"],
            source=one.values["source"],
        )
        for one in events
        if one.kind == "measured" and one.no not in back
    ]
    device, probe, phantom = events[0].record_id.split("/", 2)
    return CheckSeries(device, probe, phantom, tuple(sessions), tuple(sorted(back)), events[-1].no)


def plain_checks(series: CheckSeries) -> dict[str, str]:
    return {
        f"Session {one.no}": f"{one.day}: mean {one.mean:.4g}, sd {one.sd:.2g}, n {len(one.values)}"
        for one in series.sessions
    }


CHECKS = RecordClass("phantom check", "the phantom check", replay_checks, plain_checks)


@dataclass(frozen=True)
class CheckForm:
    """A session as entered. source: file and row, or "" for the form."""

    device_id: str
    probe: str
    phantom_id: str
    day: date
    values: tuple[float, ...]
    operator_id: str = ""
    temperature_c: float | None = None
    source: str = ""


def measure(
    series: CheckSeries | None, form: CheckForm, *, phantom: Phantom | None, on: date
) -> list[NewEvent]:
    """A new session.

    Args: phantom: as registered; None: it is not.
    Raises: FollowupError EQP-020 (no certificate on that day), EQP-021 (values that cannot be),
        EQP-022 (a day ahead), EQP-023 (there already).
    """
    where = form.source or f"check of {form.device_id}"
    _check_phantom(form, phantom, where)
    assert phantom is not None
    certified = phantom.certificate_on(form.day)
    assert certified is not None
    _check_values(form, certified.value, phantom.unit, where)
    if form.day > on:
        raise FollowupError(
            f"a check on {form.day}", where=where, expected=f"up to today, {on}", code="EQP-022"
        )
    known = series.sessions if series else ()
    if any(one.day == form.day and one.values == form.values for one in known):
        raise FollowupError(
            f"the same values of {form.day} are kept already",
            where=where,
            todo="Leave the row out; nothing was changed",
            code="EQP-023",
        )
    return [NewEvent("measured", _measured(form))]


def _check_phantom(form: CheckForm, phantom: Phantom | None, where: str) -> None:
    known = phantom.certificate_on(form.day) if phantom else None
    if phantom is None or known is None or phantom.is_retired:
        found = "is not registered" if phantom is None else f"has no certificate for {form.day}"
        if phantom is not None and phantom.is_retired:
            found = "is retired"
        raise FollowupError(
            f"phantom '{form.phantom_id[:60]}' {found}",
            where=where,
            expected="a phantom registered with a certificate issued before the check",
            todo="Enter the certificate with 'elastoqa phantom register' first; "
            "nothing was changed",
            code="EQP-020",
        )


def _check_values(form: CheckForm, certified: float, unit: str, where: str) -> None:
    fit = all(isfinite(one) and certified / FAR < one < certified * FAR for one in form.values)
    if not fit or not MIN_VALUES <= len(form.values) <= MAX_VALUES:
        raise FollowupError(
            f"{len(form.values)} values"
            + ("" if fit else ", some of them far from the certificate"),
            where=where,
            expected=f"{MIN_VALUES} to {MAX_VALUES} values in {unit}, near {certified:g}",
            todo="See unit and phantom; nothing was changed",
            code="EQP-021",
        )


def _measured(form: CheckForm) -> Mapping[str, object]:
    return {
        "day": form.day.isoformat(),
        "values": list(form.values),
        "operator_id": clean_text(form.operator_id, field="operator", is_needed=False, longest=60),
        "temperature_c": form.temperature_c,
        "source": clean_text(form.source, field="source", is_needed=False, longest=200),
    }


def take_back(series: CheckSeries, *, entry_no: int, why: str) -> list[NewEvent]:
    """A session that was entered wrongly counts no more; it stays in the record.

    Raises: FollowupError EQP-024 when there is no such session.
    """
    if all(one.no != entry_no for one in series.sessions):
        raise FollowupError(
            f"there is no session {entry_no}",
            where=series_id(*series.key),
            expected="a session that counts",
            code="EQP-024",
        )
    return [NewEvent("taken back", {"entry": entry_no, "why": clean_text(why, field="why")})]
