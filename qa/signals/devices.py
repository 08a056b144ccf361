"""A device as the cause: its operators moved together on it, and nobody did elsewhere."""

from collections.abc import Sequence
from typing import Any

from qa.model.words import UnitKind
from qa.signals.made import made_signal
from qa.signals.parts import Cells, Mask, Shift, month_number

Row = dict[str, Any]

DEVICE_SHARE = 0.75
"""Part of a site's excess that has to lie on one device."""


def device_signal(
    cells: Cells, first: Row, *, operators: Sequence[Row]
) -> tuple[Row, list[Row]] | None:
    """The device that stands for a site's signal, as a signal of its own.

    Args:
        cells: the site's cells of the measure, by operator and device.
        first: the site's signal, or the first of its operators'.
        operators: the operators' signals of the measure; all are changes.
    Returns: the device's signal and the operators' signals that it stands for; None where no
        device can be told apart: the site has only one, or fewer than two operators moved on it.
    Method: over the months since the site's change (the middle one of its operators' changes
        where the site has no signal) the device has three quarters or more of the excess, the
        site's other devices of the same technique have not surely moved, and on the device the
        exams without its most affected operator have moved too (parts.py). An operator who surely
        moved on other devices as well stands alone.
    Weak when: operators share devices unevenly; few exams on the other devices.
    """
    to, since = month_number(first["month"]), month_number(first["since_month"])
    if first["unit_kind"] != UnitKind.SITE:
        starts = sorted(month_number(row["since_month"]) for row in operators)
        since = starts[len(starts) // 2]
    devices = cells.devices(cells.everyone, since=since, to=to)
    if len(devices) < 2:
        return None
    whole = _shift(cells, cells.everyone, first, since)
    by_device = {one: _shift(cells, cells.of_device(one), first, since) for one in devices}
    device = max(by_device, key=lambda one: (by_device[one].excess, one))
    own, on_it = by_device[device], cells.of_device(device)
    others = _shift(cells, ~on_it & cells.of_technique_of(device), first, since)
    if (
        not own.is_surely_moved
        or not others.is_known
        or others.is_surely_moved
        or own.excess < DEVICE_SHARE * whole.excess
    ):
        return None
    people = cells.units(on_it, since=since, to=to)
    by_person = {one: _shift(cells, on_it & cells.of_units([one]), first, since) for one in people}
    top = max(by_person, key=lambda one: (by_person[one].excess, one))
    if not _shift(cells, on_it & ~cells.of_units([top]), first, since).is_moved:
        return None
    faces = [
        row
        for row in operators
        if not _shift(
            cells, ~on_it & cells.of_units([row["unit_id"]]), first, since
        ).is_surely_moved
    ]
    return made_signal(cells, on_it, first, unit=(UnitKind.DEVICE, device), before=own), faces


def _shift(cells: Cells, part: Mask, row: Row, since: int) -> Shift:
    to = month_number(row["month"])
    return cells.shift(part, since=since, to=to, centre=row["centre"], side=row["side"])
