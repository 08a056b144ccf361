"""Words of the equipment's register and of rounds."""

from dataclasses import dataclass
from enum import StrEnum


class DeviceEventKind(StrEnum):
    """What happened to a device or to one of its probes. All but the first end a baseline."""

    IN_SERVICE = "in service"
    EXCHANGE = "exchange"
    REPAIR = "repair"
    CALIBRATION = "calibration"
    UPDATE = "update"
    PRESET = "preset"
    MOVE = "move"


class Quantity(StrEnum):
    """What a phantom or a round is about."""

    STIFFNESS = "stiffness"
    ATTENUATION = "attenuation"


UNITS: dict[str, str] = {Quantity.STIFFNESS: "kPa", Quantity.ATTENUATION: "dB/m"}


class CheckState(StrEnum):
    """What one phantom check says."""

    WITHIN = "within limits"
    WARNING = "warning"
    ACTION = "action"
    BASELINE = "baseline"
    ACCEPTANCE = "acceptance run"
    EXPIRED = "phantom expired"


class RoundItem(StrEnum):
    """What travels in a round."""

    PHANTOM = "phantom"
    VOLUNTEERS = "volunteers"


class AssignedBy(StrEnum):
    """How the value is set against which participants are held."""

    CERTIFICATE = "certificate"
    CONSENSUS = "robust consensus"


MIN_SESSIONS = 3
"""Fewer sessions tell nothing of their scatter."""


@dataclass(frozen=True)
class CheckRules:
    """Limits of phantom checks; each is one key under [phantom_checks] of network.toml.

    Proposals, no published basis known (domain notes, part 6).

    Args:
        warn_share, act_share: distance from the baseline's mean, as a share of it.
        baseline_sessions: first sessions after a break that make the baseline.
        every_days: a check later than this is overdue (monthly, with four days of grace).
    """

    warn_share: float = 0.05
    act_share: float = 0.10
    baseline_sessions: int = 10
    every_days: int = 35
