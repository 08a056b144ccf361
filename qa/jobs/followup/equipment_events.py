"""Events of devices from the register, for refresh: they end baselines and mark exams."""

from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path

import polars as pl

from qa.followup.device_log import DEVICE_LOG, DeviceLog, entry_words
from qa.jobs.followup.opening import open_record
from qa.model.definitions import Device, Network
from qa.model.equipment_schemas import EQUIPMENT_EVENTS
from qa.model.record import Event, time_text
from qa.stores.followup.engine import followup_url


def equipment_events(
    folder: Path, network: Network, *, environ: Mapping[str, str], until: datetime
) -> pl.DataFrame:
    """Events that end baselines, as the register knew them at a moment.

    Args: until: what was recorded later is left out.
    Returns: EQUIPMENT_EVENTS; empty where no follow-up store was begun yet.
    Raises: FollowupError FUP-001 to FUP-006.
    """
    url = followup_url(folder, setting=network.settings.followup_url, environ=environ)
    if url.get_backend_name() == "sqlite" and not Path(url.database or "").exists():
        return EQUIPMENT_EVENTS.empty()
    store = open_record(folder, environ=environ)
    try:
        with store.reading() as reading:
            events = [one for one in reading.events(DEVICE_LOG.name) if one.at <= time_text(until)]
    finally:
        store.close()
    by_device: dict[str, list[Event]] = {}
    for one in events:
        by_device.setdefault(one.record_id, []).append(one)
    known = {one.id: one for one in network.devices}
    rows = [
        row
        for device_id, own in by_device.items()
        if device_id in known
        for row in _rows(DEVICE_LOG.replay(own), known[device_id])
    ]
    return pl.DataFrame(rows, schema=EQUIPMENT_EVENTS.to_polars()).sort(EQUIPMENT_EVENTS.key)


def _rows(log: DeviceLog, device: Device) -> list[dict[str, object]]:
    return [
        {
            "device_id": log.device_id,
            "entry_no": one.no,
            "site_id": _site_on(device, one.day),
            "probe": one.probe,
            "event": entry_words(one),
            "event_on": one.day,
            "signed_on": one.signed_on,
        }
        for one in log.entries
        if one.ends_baseline
    ]


def _site_on(device: Device, day: date) -> str:
    """Where it stood; its home site where network.toml says nothing of that day."""
    for one in device.periods:
        if (one.from_day or date.min) <= day <= (one.to_day or date.max):
            return one.site
    return device.site
