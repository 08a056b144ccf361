"""Devices: can the equipment be believed? Register, phantom checks, what waits and what moved."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import polars as pl

from qa.drift.acceptance import compare_after
from qa.drift.phantom_checks import CheckChart, days_overdue
from qa.drift.phantom_itself import find_phantom_moves, move_words
from qa.followup.checks import CheckSeries
from qa.followup.device_log import DeviceLog, LogEntry, entry_words
from qa.followup.phantoms import Phantom
from qa.model.definitions import Device, Network
from qa.model.equipment_words import CheckRules, CheckState
from qa.model.published import Published
from qa.model.words import PointState
from qa.views import words
from qa.views.check_chart import CheckChartView, SeriesKey, SeriesLine, check_chart_view
from qa.views.device_patients import device_in_patients
from qa.views.names import site_name

STATES = {
    CheckState.ACTION: PointState.LOOK,
    CheckState.WARNING: PointState.WATCH,
    CheckState.WITHIN: PointState.STEADY,
}
"""How a check is marked; other states are their word."""


@dataclass(frozen=True)
class DeviceLine:
    """One device as shown. waits: events without sign-off, in words; needs: what to do first."""

    device_id: str
    site_name: str
    software: str
    probes: str
    calibration: str
    waits: str
    newest: str
    is_trusted: bool


@dataclass(frozen=True)
class WaitingEvent:
    """An event that nobody signed off, how many exams were made since, and what phantoms say.

    on_phantoms: phantom and words of its acceptance run; empty where nothing was measured since.
    """

    device_id: str
    entry_no: int
    words: str
    day: date
    n_exams: int
    newest_exam: str
    on_phantoms: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class EquipmentView:
    """The Devices screen."""

    answer: str
    subline: str
    devices: tuple[DeviceLine, ...]
    series: tuple[SeriesLine, ...]
    waiting: tuple[WaitingEvent, ...]
    phantoms: tuple[tuple[str, str, str, str], ...]
    moves: tuple[str, ...]
    chart: CheckChartView | None
    patients: tuple[tuple[str, str, str], ...]


def equipment_view(
    *,
    network: Network,
    logs: Mapping[str, DeviceLog],
    phantoms: Mapping[str, Phantom],
    series: Mapping[SeriesKey, CheckSeries],
    charts: Mapping[SeriesKey, CheckChart],
    published: Published,
    rules: CheckRules,
    on: date,
    site_id: str | None = None,
    chosen: str | None = None,
) -> EquipmentView:
    """What is known of the equipment of the network or of one site.

    Args:
        logs, phantoms, series, charts: what the reader may see.
        published: to count the exams since events that wait.
        on: today. chosen: a series as device/probe/phantom; None: the one that is worst.
    """
    devices = [one for one in network.devices if site_id in (None, *one.sites)]
    ids = {one.id for one in devices}
    moves = [
        one
        for one in find_phantom_moves(charts, least_share=rules.warn_share / 2)
        if one.is_phantom
    ]
    moved = frozenset(one.phantom_id for one in moves)
    lines = [
        _series_line(key, charts[key], series[key], rules, on, moved) for key in sorted(charts)
    ]
    shown = sorted((one for one in lines if one.key[0] in ids), key=_rank)
    waiting = _waiting(logs, ids, published, series, rules)
    known = tuple(_device_line(network, one, logs.get(one.id), shown, on) for one in devices)
    first = _of_answer(shown, waiting, moved)
    line = next((one for one in shown if one.series_id == chosen), first)
    log = logs.get(line.key[0]) if line else None
    breaks = log.breaks(line.key[1]) if log and line else ()
    chart = check_chart_view(line, charts, phantoms, rules, breaks) if line else None
    return EquipmentView(
        answer=_answer(shown, waiting, known, moved),
        subline=_subline(phantoms, shown, known, on),
        devices=known,
        series=tuple(shown),
        waiting=waiting,
        phantoms=tuple(_phantom_line(network, one, on) for one in phantoms.values()),
        moves=tuple(move_words(one) for one in moves),
        chart=chart,
        patients=device_in_patients(chart.key[0], network, logs, published, on) if chart else (),
    )


def _rank(one: SeriesLine) -> tuple[int, SeriesKey]:
    order = {PointState.LOOK: 0, PointState.WATCH: 1}
    rank = order.get(PointState(one.mark), 2) if one.mark else 3
    return rank + one.is_phantoms, one.key


def _series_line(
    key: SeriesKey,
    chart: CheckChart,
    series: CheckSeries,
    rules: CheckRules,
    on: date,
    moved: frozenset[str],
) -> SeriesLine:
    newest = chart.newest
    assert newest is not None
    late = days_overdue(series.sessions, on=on, rules=rules)
    deviation = newest.deviation_share
    spread = newest.session.sd / newest.session.mean
    return SeriesLine(
        key=key,
        state=str(newest.state),
        mark=str(STATES.get(newest.state, "")),
        day=str(newest.session.day),
        bias=f"{newest.bias_share:+.1%}",
        deviation="–" if deviation is None else f"{deviation:+.1%}",
        scatter=f"{spread:.1%}",
        rules=newest.why,
        due=f"{words.counted(late, 'day')} overdue" if late else "in time",
        is_phantoms=key[2] in moved,
    )


def _waiting(
    logs: Mapping[str, DeviceLog],
    ids: set[str],
    published: Published,
    series: Mapping[SeriesKey, CheckSeries],
    rules: CheckRules,
) -> tuple[WaitingEvent, ...]:
    found = []
    for device, log in sorted(logs.items()):
        for one in log.open_entries if device in ids else ():
            exams = published.frame("exams", device_id=device)
            since = exams.filter(pl.col("exam_on") >= one.day)
            found.append(
                WaitingEvent(
                    device_id=device,
                    entry_no=one.no,
                    words=entry_words(one),
                    day=one.day,
                    n_exams=since.height,
                    newest_exam=str(since["exam_on"].max() or "none"),
                    on_phantoms=_acceptance(device, one.no, log, series, rules),
                )
            )
    return tuple(found)


def _acceptance(
    device: str,
    entry_no: int,
    log: DeviceLog,
    series: Mapping[SeriesKey, CheckSeries],
    rules: CheckRules,
) -> tuple[tuple[str, str], ...]:
    """What each phantom says of the device after one of its events."""
    found = []
    for key, one in sorted(series.items()):
        breaks = log.breaks(key[1]) if key[0] == device else []
        for event in breaks:
            if event.entry_no == entry_no:
                run = compare_after(one.sessions, event=event, breaks=breaks, rules=rules)
                if run.n_sessions:
                    found.append((key[2], run.words))
    return tuple(found)


def _device_line(
    network: Network, device: Device, log: DeviceLog | None, shown: Sequence[SeriesLine], on: date
) -> DeviceLine:
    own = [one for one in shown if one.key[0] == device.id]
    site = site_name(network, device.site)
    if log is None:
        return DeviceLine(device.id, site, "–", "–", "–", "not in the register", "–", False)
    waits = "; ".join(f"{entry_words(one)} on {one.day}" for one in log.open_entries)
    return DeviceLine(
        device_id=device.id,
        site_name=site,
        software=log.software or "not stated",
        probes=", ".join(f"{probe} {code}".strip() for probe, code in log.probes.items()) or "–",
        calibration=_calibration(log.calibration, on),
        waits=waits or "nothing",
        newest=own[0].state if own else "never checked",
        is_trusted=not waits
        and bool(own)
        and not any(one.mark == PointState.LOOK and not one.is_phantoms for one in own),
    )


def _calibration(entry: LogEntry | None, on: date) -> str:
    if entry is None:
        return "none known"
    if entry.due_on is None:
        return f"{entry.day}"
    late = ", overdue" if entry.due_on < on else ""
    return f"{entry.day}, next by {entry.due_on}{late}"


def _phantom_line(network: Network, one: Phantom, on: date) -> tuple[str, str, str, str]:
    newest = one.newest
    state = "retired" if one.is_retired else f"until {newest.expires_on}"
    if not one.is_retired and newest.expires_on < on:
        state = f"ended {newest.expires_on}: checks on it judge nothing"
    return (
        one.phantom_id,
        f"{newest.value:g} ± {newest.expanded:g} {one.unit}",
        site_name(network, one.site_id) if one.site_id else "travels",
        f"{newest.number}, {state}",
    )


def _answer(
    shown: Sequence[SeriesLine],
    waiting: Sequence[WaitingEvent],
    devices: Sequence[DeviceLine],
    moved: frozenset[str],
) -> str:
    judged = [one for one in shown if not one.is_phantoms]
    out = list(dict.fromkeys(one.key[0] for one in judged if one.mark == PointState.LOOK))
    if out:
        verb = "is" if len(out) == 1 else "are"
        return f"{words.listed(out)} {verb} out of limits on a phantom."
    if waiting:
        first = waiting[0]
        return (
            f"{first.device_id} waits for a sign-off after the {first.words}: "
            f"{words.counted(first.n_exams, 'exam')} since."
        )
    if moved:
        return f"{words.listed(sorted(moved))} seems to move itself; no device is out of limits."
    if not shown:
        return "No phantom was measured, so the equipment cannot be judged."
    missing = [one.device_id for one in devices if one.newest == "never checked"]
    if missing:
        return (
            f"What is checked is within limits; {words.counted(len(missing), 'device')} never was."
        )
    return "Every device reads its phantoms within limits."


def _subline(
    phantoms: Mapping[str, Phantom],
    shown: Sequence[SeriesLine],
    devices: Sequence[DeviceLine],
    on: date,
) -> str:
    late = sum(one.due != "in time" for one in shown)
    ended = sum(not one.is_retired and one.newest.expires_on < on for one in phantoms.values())
    kept = sum(one.waits != "not in the register" for one in devices)
    return (
        f"{kept} of {words.counted(len(devices), 'device')} in the register, "
        f"{words.counted(late, 'check')} overdue, {words.counted(ended, 'phantom')} expired. "
        "Patients' values are never corrected."
    )


def _of_answer(
    shown: Sequence[SeriesLine], waiting: Sequence[WaitingEvent], moved: frozenset[str]
) -> SeriesLine | None:
    """The series that the answer speaks of; else the one that is worst."""
    if shown and shown[0].mark == PointState.LOOK and not shown[0].is_phantoms:
        return shown[0]
    steady = [one for one in shown if one.key[2] not in moved]
    known = [one for event in waiting for one in steady if one.key[0] == event.device_id]
    return (*known, *shown, None)[0]
