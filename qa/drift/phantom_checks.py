"""Phantom checks of one device, probe and phantom → a chart with its rules, in order of time."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from qa.model.equipment_words import CheckRules, CheckState
from qa.stats.individuals import individuals_limits, mean_moving_range
from qa.stats.means import pooled_sd, s_limits, xbar_s_limits
from qa.stats.multirule import rules_broken

ACTION_RULES = ("1_3s", "2_2s", "R_4s")


@dataclass(frozen=True)
class Session:
    """One check: several measurements on one day. no: its entry in the record."""

    no: int
    day: date
    values: tuple[float, ...]
    operator_id: str = ""
    temperature_c: float | None = None
    source: str = ""

    @property
    def mean(self) -> float:
        return float(np.mean(self.values))

    @property
    def sd(self) -> float:
        return float(np.std(self.values, ddof=1)) if len(self.values) > 1 else float("nan")


@dataclass(frozen=True)
class Break:
    """An event that ends a baseline; signed_on None: nobody has signed it off."""

    day: date
    words: str
    signed_on: date | None = None
    entry_no: int = 0


@dataclass(frozen=True)
class Certificate:
    """What the phantom is said to be; expanded: uncertainty with coverage factor 2."""

    value: float
    expanded: float
    expires_on: date


@dataclass(frozen=True)
class Baseline:
    """Mean and scatter of the first sessions of a part of the chart."""

    mean: float
    sd: float
    n: int
    limits: tuple[float, float]
    within_sd: float


@dataclass(frozen=True)
class CheckPoint:
    """One session with its limits; those are None while the baseline is not there.

    Args:
        bias_share: from the certificate. deviation_share, z: from the baseline.
        rules: multirules that the session breaks, as published.
        limits: three-sigma limits of session means from moving ranges (individuals chart).
        mean_limits, sd_limits: the X̄-S chart's, from the scatter within sessions.
        part: 0, 1, …; a line joins points of one part only.
    """

    session: Session
    state: CheckState
    why: str
    bias_share: float
    part: int
    deviation_share: float | None = None
    z: float | None = None
    rules: tuple[str, ...] = ()
    centre: float | None = None
    limits: tuple[float, float] | None = None
    mean_limits: tuple[float, float] | None = None
    sd_limits: tuple[float, float] | None = None


@dataclass(frozen=True)
class CheckChart:
    """The checks of one device, probe and phantom.

    baselines: by part, where one is complete.
    """

    points: tuple[CheckPoint, ...]
    baselines: dict[int, Baseline] = field(default_factory=dict)

    @property
    def newest(self) -> CheckPoint | None:
        return self.points[-1] if self.points else None


def chart_checks(
    sessions: Sequence[Session],
    *,
    certificate: Certificate,
    breaks: Sequence[Break],
    rules: CheckRules,
) -> CheckChart:
    """Judge sessions against the baseline of their part of the chart.

    Args:
        sessions: in any order. breaks: events of the device or the probe.
        certificate: in force; a session after its expiry is shown and judges nothing.
    Returns: the chart; without points where there are no sessions.
    Method: a part begins at each break. Its first sessions are its baseline and are held against
        the certificate; later ones against that baseline: a warning beyond warn_share or by 1_2s,
        action beyond act_share or by another multirule, each only where the difference exceeds
        what the sessions' own scatter leaves (z is in standard deviations of session means).
    Weak when: a baseline of ten sessions knows its own scatter to within a quarter: by simulation
        2.3 % of the later sessions of a steady device call action (tests hold this figure).
    """
    ordered = sorted(sessions, key=lambda one: (one.day, one.no))
    valid = [one for one in ordered if one.day <= certificate.expires_on]
    parts = {one.no: _part(one.day, breaks) for one in ordered}
    is_run = {one.no: _is_acceptance(one.day, breaks) for one in ordered}
    baselines = {}
    for part in sorted(set(parts.values())):
        inside = [one for one in valid if parts[one.no] == part and not is_run[one.no]]
        if len(inside) >= rules.baseline_sessions:
            baselines[part] = make_baseline(inside[: rules.baseline_sessions])
    points: list[CheckPoint] = []
    seen: dict[int, list[float]] = {}
    n_seen: dict[int, int] = {}
    for one in ordered:
        part = parts[one.no]
        is_valid = one.day <= certificate.expires_on and not is_run[one.no]
        n_seen[part] = n_seen.get(part, 0) + is_valid
        is_late = n_seen[part] > rules.baseline_sessions and part in baselines
        if not is_valid or not is_late:
            points.append(_beside(one, part, certificate, rules, breaks, baselines.get(part)))
            continue
        history = seen.setdefault(part, [])
        points.append(_judged(one, part, baselines[part], certificate, rules, history))
    return CheckChart(tuple(points), baselines)


def _part(day: date, breaks: Sequence[Break]) -> int:
    return sum(one.day <= day for one in breaks)


def make_baseline(sessions: Sequence[Session]) -> Baseline:
    """Centre, scatter and limits from sessions in order of time; at least two."""
    means = np.array([one.mean for one in sessions])
    sizes = np.array([len(one.values) for one in sessions])
    spreads = np.array([one.sd for one in sessions])
    centre = float(means.mean())
    return Baseline(
        mean=centre,
        sd=float(means.std(ddof=1)),
        n=len(means),
        limits=individuals_limits(centre, mean_moving_range(means)),
        within_sd=pooled_sd(spreads, sizes),
    )


def _beside(
    one: Session,
    part: int,
    certificate: Certificate,
    rules: CheckRules,
    breaks: Sequence[Break],
    baseline: Baseline | None,
) -> CheckPoint:
    """A session that no baseline judges: before one is complete, or on an expired phantom."""
    bias = one.mean / certificate.value - 1
    state, why = _first_verdict(one.day, bias, certificate, rules, breaks)
    return CheckPoint(
        session=one,
        state=state,
        why=why,
        bias_share=bias,
        part=part,
        centre=baseline.mean if baseline else None,
        limits=baseline.limits if baseline else None,
        mean_limits=_mean_limits(one, baseline),
        sd_limits=_sd_limits(one, baseline),
    )


def _first_verdict(
    day: date, bias: float, certificate: Certificate, rules: CheckRules, breaks: Sequence[Break]
) -> tuple[CheckState, str]:
    if day > certificate.expires_on:
        return CheckState.EXPIRED, f"the certificate ended on {certificate.expires_on}"
    beyond = abs(bias) - certificate.expanded / certificate.value
    if beyond > rules.act_share:
        return CheckState.ACTION, "far from the certificate"
    if beyond > rules.warn_share:
        return CheckState.WARNING, "away from the certificate"
    if _is_acceptance(day, breaks):
        return CheckState.ACCEPTANCE, "after an event that is not signed off"
    return CheckState.BASELINE, "one of the first sessions"


def _is_acceptance(day: date, breaks: Sequence[Break]) -> bool:
    return any(one.day <= day and (one.signed_on is None or day <= one.signed_on) for one in breaks)


def _judged(
    one: Session,
    part: int,
    baseline: Baseline,
    certificate: Certificate,
    rules: CheckRules,
    history: list[float],
) -> CheckPoint:
    z = (one.mean - baseline.mean) / baseline.sd if baseline.sd else 0.0
    history.append(z)
    broken = rules_broken(history)
    deviation = one.mean / baseline.mean - 1
    state, why = _verdict(deviation, broken, rules)
    return CheckPoint(
        session=one,
        state=state,
        why=why,
        bias_share=one.mean / certificate.value - 1,
        part=part,
        deviation_share=deviation,
        z=z,
        rules=broken,
        centre=baseline.mean,
        limits=baseline.limits,
        mean_limits=_mean_limits(one, baseline),
        sd_limits=_sd_limits(one, baseline),
    )


def _verdict(
    deviation: float, broken: tuple[str, ...], rules: CheckRules
) -> tuple[CheckState, str]:
    firm = [one for one in broken if one in ACTION_RULES]
    if abs(deviation) > rules.act_share:
        return CheckState.ACTION, f"more than {rules.act_share:.0%} from its baseline"
    if firm:
        return CheckState.ACTION, f"multirule {', '.join(firm)}"
    if abs(deviation) > rules.warn_share:
        return CheckState.WARNING, f"more than {rules.warn_share:.0%} from its baseline"
    if broken:
        return CheckState.WARNING, f"multirule {', '.join(broken)}"
    return CheckState.WITHIN, ""


def _mean_limits(one: Session, baseline: Baseline | None) -> tuple[float, float] | None:
    if baseline is None or len(one.values) < 2 or not np.isfinite(baseline.within_sd):
        return None
    low, high = xbar_s_limits(baseline.mean, baseline.within_sd, len(one.values))
    return float(low), float(high)


def _sd_limits(one: Session, baseline: Baseline | None) -> tuple[float, float] | None:
    if baseline is None or len(one.values) < 2 or not np.isfinite(baseline.within_sd):
        return None
    low, high = s_limits(baseline.within_sd, len(one.values))
    return float(low), float(high)


def days_overdue(sessions: Sequence[Session], *, on: date, rules: CheckRules) -> int:
    """Days by which the next check is late; 0 where it is not, and where none was ever made."""
    if not sessions:
        return 0
    due = max(one.day for one in sessions) + timedelta(days=rules.every_days)
    return max((on - due).days, 0)
