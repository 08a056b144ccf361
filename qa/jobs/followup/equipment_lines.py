"""The register in lines of text, for the command line."""

from qa.drift.phantom_checks import CheckPoint, days_overdue
from qa.drift.phantom_itself import find_phantom_moves, move_words
from qa.followup.device_log import DEVICE_LOG, entry_words
from qa.jobs.followup.equipment import EquipmentDesk, SeriesKey, acceptance_of
from qa.jobs.followup.opening import no_such_record


def device_lines(desk: EquipmentDesk) -> list[str]:
    """One line for each device of network.toml."""
    known = desk.equipment()
    lines = []
    for device in desk.network.devices:
        log = known.logs.get(device.id)
        if log is None:
            lines.append(f"{device.id} ({device.site}): not in the register")
            continue
        open_text = "; ".join(
            f"entry {one.no}, {entry_words(one)} on {one.day}, waits for a sign-off"
            for one in log.open_entries
        )
        due = log.calibration.due_on if log.calibration else None
        parts = [
            f"software {log.software or 'not stated'}",
            "probes " + (", ".join(f"{k} {v}".strip() for k, v in log.probes.items()) or "none"),
            f"calibration due {due}" + (" (overdue)" if due < desk.today else "") if due else "",
            open_text,
        ]
        lines.append(f"{device.id} ({device.site}): " + "; ".join(one for one in parts if one))
    return lines or ["network.toml names no device."]


def log_lines(desk: EquipmentDesk, device_id: str) -> list[str]:
    """Every event of a device, with what acceptance runs say. Raises: FollowupError FUP-014."""
    known = desk.equipment()
    if device_id not in known.logs:
        raise no_such_record(DEVICE_LOG, device_id)
    log = known.logs[device_id]
    series = [one for key, one in known.series.items() if key[0] == device_id]
    lines = []
    for one in log.entries:
        lines.append(f"{one.no:>3}  {one.day}  {entry_words(one)}  {one.words}".rstrip())
        if not one.ends_baseline:
            continue
        for key, found in acceptance_of(log, one.no, series, desk.rules).items():
            lines.append(f"     {key[1]} probe on {key[2]}: {found.words}")
        if one.signed_on:
            lines.append(f"     signed off {one.signed_on} by {one.signed_by}: {one.signed_words}")
        else:
            lines.append("     waits for a sign-off; exams since then are marked")
    return lines


def phantom_lines(desk: EquipmentDesk) -> list[str]:
    """Phantoms, then the newest check of each device, probe and phantom."""
    known = desk.equipment()
    lines = []
    for one in known.phantoms.values():
        newest = one.newest
        state = "retired" if one.is_retired else f"certificate until {newest.expires_on}"
        if not one.is_retired and newest.expires_on < desk.today:
            state = f"certificate ended {newest.expires_on}"
        lines.append(
            f"{one.phantom_id}: {newest.value:g} ± {newest.expanded:g} {one.unit}, {state}"
        )
    lines += [newest_line(desk, key) for key in sorted(known.charts)]
    moves = find_phantom_moves(known.charts, least_share=desk.rules.warn_share / 2)
    lines += [move_words(one) for one in moves if one.is_phantom]
    return lines or ["No phantom is registered."]


def newest_line(desk: EquipmentDesk, key: SeriesKey) -> str:
    """What the newest check says, and whether the next one is late."""
    known = desk.equipment()
    newest = known.charts[key].newest
    assert newest is not None
    late = days_overdue(known.series[key].sessions, on=desk.today, rules=desk.rules)
    due = f"; the next check is {late} days overdue" if late else ""
    return f"{key[0]}, {key[1]} probe on {key[2]}: {point_words(newest)}{due}"


def point_words(one: CheckPoint) -> str:
    """Example: '2026-11-02, entry 12: mean 7.41, within limits, +0.8% from its baseline'"""
    distance = (
        f"{one.bias_share:+.1%} from the certificate"
        if one.deviation_share is None
        else f"{one.deviation_share:+.1%} from its baseline"
    )
    why = f" ({one.why})" if one.why else ""
    return (
        f"{one.session.day}, entry {one.session.no}: mean {one.session.mean:.4g}, "
        f"{one.state}{why}, {distance}"
    )
