"""What a device does to its patients' values, in words."""

from collections.abc import Mapping
from datetime import date

from qa.drift.device_effect import DeviceEffect, device_at_event, device_beside_others
from qa.followup.device_log import DeviceLog, entry_words
from qa.model.definitions import Network
from qa.model.published import Published
from qa.views import words


def device_in_patients(
    device_id: str,
    network: Network,
    logs: Mapping[str, DeviceLog],
    published: Published,
    on: date,
) -> tuple[tuple[str, str, str], ...]:
    """What the device does to its patients' values: words, ratio with interval, exams."""
    site = next(one.site for one in network.devices if one.id == device_id)
    exams = published.frame("exams", site_id=site)
    found = [("", device_beside_others(exams, device_id=device_id, until=on))]
    log = logs.get(device_id)
    events = [one for one in log.entries if one.ends_baseline] if log else []
    if events:
        newest = events[-1]
        effect = device_at_event(exams, device_id=device_id, event_on=newest.day)
        found.append((f"{entry_words(newest)}, {newest.day}: ", effect))
    return tuple((before + one.words, _ratio_words(one), _sizes(one)) for before, one in found)


def _sizes(one: DeviceEffect) -> str:
    return f"{words.whole(one.n)} and {words.whole(one.n_other)}"


def _ratio_words(one: DeviceEffect) -> str:
    if one.ratio is None or one.lower is None or one.upper is None:
        return "too few exams"
    seen = "" if one.is_seen else ", not told from none"
    return f"{one.ratio - 1:+.1%} ({one.lower - 1:+.1%} to {one.upper - 1:+.1%}){seen}"
