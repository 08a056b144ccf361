"""A device's log: what it consists of, what happened to it and when, and who signed it off."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from qa.drift.phantom_checks import Break
from qa.followup.records import RecordClass, clean_text
from qa.model.equipment_words import DeviceEventKind
from qa.model.errors import FollowupError
from qa.model.record import Event, NewEvent

WHOLE = ""
"""Probe of an event that concerns the whole device."""


@dataclass(frozen=True)
class LogEntry:
    """One event of the device. probe "": all of it. no: of the record's event.

    Args:
        to: what it is afterwards (serial code of the probe, software version, place).
        due_on: when the next one of its kind is due (calibration); None: not stated.
        signed_on, signed_by, signed_words: None and "" until it is signed off.
    """

    no: int
    kind: str
    day: date
    probe: str
    to: str
    certificate: str
    words: str
    due_on: date | None
    by: str
    signed_on: date | None = None
    signed_by: str = ""
    signed_words: str = ""

    @property
    def ends_baseline(self) -> bool:
        return self.kind != DeviceEventKind.IN_SERVICE

    @property
    def is_open(self) -> bool:
        """It ends a baseline and nobody signed it off."""
        return self.ends_baseline and self.signed_on is None


@dataclass(frozen=True)
class DeviceLog:
    """All entries of one device, in order of time."""

    device_id: str
    entries: tuple[LogEntry, ...]
    n_events: int = 1

    @property
    def software(self) -> str:
        return self._newest(DeviceEventKind.IN_SERVICE, DeviceEventKind.UPDATE, probe=WHOLE)

    @property
    def probes(self) -> dict[str, str]:
        """Probe → serial code, as after the newest exchange."""
        kinds = (DeviceEventKind.IN_SERVICE, DeviceEventKind.EXCHANGE)
        found = {one.probe: one.to for one in self.entries if one.probe and one.kind in kinds}
        return dict(sorted(found.items()))

    @property
    def calibration(self) -> LogEntry | None:
        found = [one for one in self.entries if one.kind == DeviceEventKind.CALIBRATION]
        return found[-1] if found else None

    @property
    def open_entries(self) -> tuple[LogEntry, ...]:
        return tuple(one for one in self.entries if one.is_open)

    def _newest(self, *kinds: DeviceEventKind, probe: str) -> str:
        found = [one.to for one in self.entries if one.kind in kinds and one.probe == probe]
        return found[-1] if found else ""

    def entry(self, no: int) -> LogEntry | None:
        return next((one for one in self.entries if one.no == no), None)

    def breaks(self, probe: str) -> list[Break]:
        """Events that end baselines of checks with this probe."""
        return [
            Break(one.day, entry_words(one), one.signed_on, one.no)
            for one in self.entries
            if one.ends_baseline and one.probe in (WHOLE, probe)
        ]


def entry_words(one: LogEntry) -> str:
    """Example: 'update of the device to 4.2'"""
    what = f"{one.probe} probe" if one.probe else "device"
    return f"{one.kind} of the {what}" + (f" to {one.to}" if one.to else "")


def replay_log(events: Sequence[Event]) -> DeviceLog:
    signed = {one.values["entry"]: one for one in events if one.kind == "signed off"}
    entries = []
    for one in events:
        if one.kind != "entered":
            continue
        told, sign = one.values, signed.get(one.no)
        due_on = told["due_on"]
        entries.append(
            LogEntry(
                no=one.no,
                kind=told["kind"],
                day=date.fromisoformat(told["day"]),
                probe=told["probe"],
                to=told["to"],
                certificate=told["certificate"],
                words=told["words"],
                due_on=date.fromisoformat(due_on) if due_on else None,
                by=one.by,
                signed_on=date.fromisoformat(sign.values["day"]) if sign else None,
                signed_by=sign.by if sign else "",
                signed_words=sign.values["words"] if sign else "",
            )
        )
    return DeviceLog(events[0].record_id, tuple(entries), events[-1].no)


def plain_log(log: DeviceLog) -> dict[str, str]:
    return {
        f"Entry {one.no}": f"{one.day}: {entry_words(one)}"
        + (f"; signed off {one.signed_on} by {one.signed_by}" if one.signed_on else "")
        for one in log.entries
    }


DEVICE_LOG = RecordClass("device", "the device", replay_log, plain_log)


@dataclass(frozen=True)
class EntryForm:
    """An event as entered."""

    kind: str
    day: date
    probe: str = WHOLE
    to: str = ""
    certificate: str = ""
    words: str = ""
    due_on: date | None = None


def enter(log: DeviceLog | None, form: EntryForm, *, device_id: str, on: date) -> list[NewEvent]:
    """A new event at the end of the log.

    Raises: FollowupError EQP-001 (no such kind, or the device was never in service), EQP-002 (a day
        ahead, or before the log's last event), EQP-003 (a calibration without certificate).
    """
    if form.kind not in list(DeviceEventKind):
        raise FollowupError(
            f"'{form.kind[:60]}' is no event of a device",
            where=f"device {device_id}",
            expected=f"one of {', '.join(DeviceEventKind)}",
            code="EQP-001",
        )
    is_first = form.kind == DeviceEventKind.IN_SERVICE
    if log is None and not is_first:
        raise FollowupError(
            f"{form.kind} of a device that was never entered as in service",
            where=f"device {device_id}",
            expected="the event 'in service' first, with its day and software version",
            code="EQP-001",
        )
    last = max((one.day for one in log.entries), default=None) if log else None
    if form.day > on or (last is not None and form.day < last):
        raise FollowupError(
            f"an event on {form.day}",
            where=f"device {device_id}",
            expected=f"a day up to today, {on}"
            + (f", and not before the log's last event on {last}" if last else ""),
            todo="Events stand in the order in which they happened; nothing was changed",
            code="EQP-002",
        )
    if form.kind == DeviceEventKind.CALIBRATION and not form.certificate.strip():
        raise FollowupError(
            "a calibration without certificate",
            where=f"device {device_id}",
            expected="number of its certificate",
            code="EQP-003",
        )
    return [NewEvent("entered", _entered(form))]


def _entered(form: EntryForm) -> dict[str, str | None]:
    return {
        "kind": form.kind,
        "day": form.day.isoformat(),
        "probe": clean_text(form.probe, field="probe", is_needed=False, longest=60),
        "to": clean_text(form.to, field="to", is_needed=False, longest=100),
        "certificate": clean_text(
            form.certificate, field="certificate", is_needed=False, longest=200
        ),
        "words": clean_text(form.words, field="words", is_needed=False),
        "due_on": form.due_on.isoformat() if form.due_on else None,
    }


def sign_off(
    log: DeviceLog, *, entry_no: int, day: date, words: str, evidence: Sequence[str], on: date
) -> list[NewEvent]:
    """Release the device after an event, by name, on the evidence of its acceptance run.

    Args: evidence: what the acceptance runs say, one line for each phantom; empty: there was none.
    Raises: FollowupError EQP-004 (no such open event), EQP-005 (no acceptance run), EQP-002.
    """
    found = log.entry(entry_no)
    if found is None or not found.is_open:
        raise FollowupError(
            f"entry {entry_no} is no event that waits for a sign-off",
            where=f"device {log.device_id}",
            expected=", ".join(str(one.no) for one in log.open_entries) or "none waits",
            code="EQP-004",
        )
    if not evidence:
        raise FollowupError(
            "no phantom was measured since the event",
            where=f"device {log.device_id}, entry {entry_no}",
            expected="an acceptance run: a phantom check on or after the day of the event",
            todo="Enter the check first; nothing was changed",
            code="EQP-005",
        )
    if not found.day <= day <= on:
        raise FollowupError(
            f"a sign-off on {day}",
            where=f"device {log.device_id}, entry {entry_no}",
            expected=f"a day from the event on {found.day} to today, {on}",
            code="EQP-002",
        )
    data = {
        "entry": entry_no,
        "day": day.isoformat(),
        "words": clean_text(words, field="words"),
        "evidence": list(evidence),
    }
    return [NewEvent("signed off", data)]
