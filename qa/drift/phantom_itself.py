"""Whether a phantom moved rather than the devices that measure it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from qa.drift.phantom_checks import CheckChart

MIN_DEVICES = 3


@dataclass(frozen=True)
class PhantomMove:
    """Mean distance from their baselines of all devices on one phantom, newest sessions.

    Args:
        others_share: the same devices on other phantoms; None: they measure no other.
        is_phantom: all devices moved together on it, and not on others.
    """

    phantom_id: str
    n_devices: int
    shift_share: float
    lower: float
    upper: float
    others_share: float | None
    is_phantom: bool


def find_phantom_moves(
    charts: Mapping[tuple[str, str, str], CheckChart], *, sessions: int = 3, least_share: float
) -> list[PhantomMove]:
    """One entry per phantom that at least three devices hold a baseline on, by phantom.

    Args:
        charts: (device, probe, phantom) → its chart.
        sessions: newest sessions that are taken together.
        least_share: a smaller move is not called one.
    Method: mean over series of their newest deviations, Student's 95 % interval between series;
        the phantom's own where the interval leaves out 0, the move is large enough, and the same
        devices moved by less than half of it on other phantoms.
    Weak when: devices were serviced together, or only one phantom is in use: then nothing can tell.
    """
    shifts = {
        key: float(np.mean([p.deviation_share for p in recent]))
        for key, chart in charts.items()
        if (recent := [p for p in chart.points if p.deviation_share is not None][-sessions:])
    }
    found = []
    for phantom in sorted({key[2] for key in shifts}):
        own = {key[:2]: shift for key, shift in shifts.items() if key[2] == phantom}
        if len({device for device, _ in own}) < MIN_DEVICES:
            continue
        found.append(_move(phantom, own, shifts, least_share))
    return found


def _move(
    phantom: str,
    own: Mapping[tuple[str, str], float],
    shifts: Mapping[tuple[str, str, str], float],
    least_share: float,
) -> PhantomMove:
    values = np.array(list(own.values()))
    mean = float(values.mean())
    t = float(stdtrit(len(values) - 1, 0.975))
    half = t * float(values.std(ddof=1)) / len(values) ** 0.5
    others = [shift for key, shift in shifts.items() if key[2] != phantom and key[:2] in own]
    beside = float(np.mean(others)) if others else None
    is_moved = abs(mean) > least_share and abs(mean) > half
    return PhantomMove(
        phantom_id=phantom,
        n_devices=len({device for device, _ in own}),
        shift_share=mean,
        lower=mean - half,
        upper=mean + half,
        others_share=beside,
        is_phantom=is_moved and beside is not None and abs(beside) < abs(mean) / 2,
    )


def move_words(one: PhantomMove) -> str:
    """What to say of a phantom that moved itself."""
    return (
        f"Phantom {one.phantom_id} itself seems to move: {one.n_devices} devices read it "
        f"{one.shift_share:+.1%} from their baselines ({one.lower:+.1%} to {one.upper:+.1%}), and "
        f"other phantoms {one.others_share:+.1%}. Have it certified anew before a device is blamed."
    )
