"""Words of the equipment's register and of rounds."""

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
