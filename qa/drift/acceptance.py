"""An acceptance run after an event, held against the baseline before it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from scipy.special import stdtrit

from qa.drift.phantom_checks import Break, Session, make_baseline
from qa.model.equipment_words import CheckRules


@dataclass(frozen=True)
class Acceptance:
    """Sessions after an event against the baseline before it.

    Args: shift_share, lower, upper: of the mean, with its 95 % interval; None: no baseline before.
    """

    n_sessions: int
    shift_share: float | None
    lower: float | None
    upper: float | None
    agrees: bool
    words: str


def compare_after(
    sessions: Sequence[Session],
    *,
    event: Break,
    breaks: Sequence[Break],
    rules: CheckRules,
) -> Acceptance:
    """Hold the acceptance run after an event against the baseline before it.

    Args:
        event: the event; its acceptance run ends with its sign-off or the next event.
        breaks: all events of the device or the probe.
    Returns: Acceptance; agrees is False where there is no session or nothing to compare with.
    Method: difference of means; its interval by Student from the scatter between sessions of the
        baseline.
    """
    ends = [one.day for one in breaks if one.day > event.day]
    end = min([*ends, event.signed_on or date.max])
    after = [one for one in sessions if event.day <= one.day <= end]
    starts = [one.day for one in breaks if one.day < event.day]
    before = sorted(
        (one for one in sessions if max(starts, default=date.min) <= one.day < event.day),
        key=lambda one: (one.day, one.no),
    )
    if not after:
        return Acceptance(0, None, None, None, False, "no acceptance run yet")
    if len(before) < 2:
        return Acceptance(len(after), None, None, None, False, "no earlier baseline to hold it to")
    base = make_baseline(before[: rules.baseline_sessions])
    shift = float(np.mean([one.mean for one in after])) / base.mean - 1
    half = float(stdtrit(base.n - 1, 0.975)) * base.sd * (1 / len(after) + 1 / base.n) ** 0.5
    half /= base.mean
    agrees = abs(shift) <= rules.warn_share
    words = (
        f"{shift:+.1%} against the baseline before (95 % interval {shift - half:+.1%} to "
        f"{shift + half:+.1%}): " + ("agrees" if agrees else "does not agree")
    )
    return Acceptance(len(after), shift, shift - half, shift + half, agrees, words)
