"""Verdict on a site's devices: whether each in use had a current phantom check in order."""

from dataclasses import dataclass
from datetime import date

from qa.drift.phantom_checks import CheckPoint, chart_checks
from qa.followup.checks import CheckSeries, series_id
from qa.followup.facts import Facts
from qa.followup.judge_data import MET, NONE, NOT_MET, NOTHING_PUBLISHED, Evidence, Found
from qa.model.equipment_words import CheckRules, CheckState
from qa.model.requirement import Requirement

TOO_OLD, PROVES_NOTHING, IN_ORDER, ASKS_FOR_ACTION = range(4)


@dataclass(frozen=True)
class DeviceCheck:
    """What is known of one device at the end of a month. series: "" where it was never checked."""

    series: str
    words: str
    is_current: bool


def judge_devices(requirement: Requirement, facts: Facts) -> Found:
    """Checks up to the month's last day; a phantom without a running certificate proves nothing."""
    if facts.snapshot is None:
        return NOTHING_PUBLISHED
    if not facts.snapshot.devices:
        return Found(NONE, "No device examined at the site that month.")
    if not facts.checks:
        return Found(NONE, "No phantom check had been recorded.")
    rules = facts.snapshot.check_rules
    found = {one: _newest_check(one, facts, rules) for one in sorted(facts.snapshot.devices)}
    evidence = tuple(
        Evidence("device", check.series or name, f"{name}: {check.words}")
        for name, check in found.items()
    )
    lacking = [name for name, check in found.items() if not check.is_current]
    if not lacking:
        words = f"All {len(found)} devices in use had a current check in order."
        if len(found) == 1:
            words = f"The device in use, {next(iter(found))}, had a current check in order."
        return Found(MET, words, evidence)
    words = (
        f"{len(lacking)} of {len(found)} devices in use had none in order: {', '.join(lacking)}."
    )
    return Found(NOT_MET, words, evidence, True)


def _newest_check(device_id: str, facts: Facts, rules: CheckRules) -> DeviceCheck:
    """The check that says most of a device: one that asks for action, else the newest in order."""
    own = [one for one in facts.checks if one.device_id == device_id]
    newest = [
        (series_id(*one.key), one, point)
        for one in sorted(own, key=lambda one: one.key)
        if (point := _point(one, facts, rules)) is not None
    ]
    if not newest:
        return DeviceCheck("", "never checked by the month's end", False)

    def rank(point: CheckPoint) -> tuple[int, date]:
        return _rank(point, facts.last_day, rules), point.session.day

    key, series, point = max(newest, key=lambda one: rank(one[2]))
    words = f"checked on {point.session.day}, {point.state}"
    words += f" ({series.probe} probe on {series.phantom_id})"
    if point.why:
        words += f": {point.why}"
    if rank(point)[0] == TOO_OLD:
        words += f"; asked is a check within {rules.every_days} days of the month's end"
    return DeviceCheck(key, words, rank(point)[0] == IN_ORDER)


def _rank(point: CheckPoint, last_day: date, rules: CheckRules) -> int:
    if (last_day - point.session.day).days > rules.every_days:
        return TOO_OLD
    if point.state is CheckState.ACTION:
        return ASKS_FOR_ACTION
    return PROVES_NOTHING if point.state is CheckState.EXPIRED else IN_ORDER


def _point(series: CheckSeries, facts: Facts, rules: CheckRules) -> CheckPoint | None:
    """The newest check up to the month's last day, judged by what was known of it then."""
    sessions = [one for one in series.sessions if one.day <= facts.last_day]
    phantom = facts.phantoms.get(series.phantom_id)
    if not sessions or phantom is None:
        return None
    newest_day = max(one.day for one in sessions)
    certificate = phantom.certificate_on(newest_day)
    if certificate is None:
        return None
    log = facts.logs.get(series.device_id)
    breaks = [one for one in log.breaks(series.probe) if one.day <= facts.last_day] if log else []
    return chart_checks(sessions, certificate=certificate.plain, breaks=breaks, rules=rules).newest
