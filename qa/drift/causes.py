"""What may have moved a share, how likely that is beforehand, and what an explained change is."""

from dataclasses import dataclass

Key = tuple[str, tuple[tuple[str, str], ...]]
"""Kind and members of an explanation."""

PATIENTS, OPERATOR, DEVICE, PROBE, ALIKE, REMAINDER = (
    "patients",
    "operator",
    "device",
    "probe or technique",
    "everybody alike",
    "remainder",
)
PARTS = (PATIENTS, OPERATOR, DEVICE, PROBE, ALIKE, REMAINDER)
KIND_OF = {"operator_id": OPERATOR, "device_id": DEVICE, "probe": PROBE, "technique": PROBE}
NOTHING = "nothing else"
NEWCOMERS = "patients who came since"
"""Patients first seen since differ, and those seen before as well do not."""
PRIOR = {NOTHING: 4.0, ALIKE: 1.0, OPERATOR: 1.0, DEVICE: 0.5, PROBE: 0.2}
"""How likely each operator, device and so on is beforehand, against the others; proposal of this
tool."""
LEVEL_SPREAD = {"operator_id": 0.5, "device_id": 0.3, "probe": 0.5, "technique": 0.5}
"""Spread of lasting levels, log odds: odds of operators of one site differ by half as much again;
proposal of this tool."""
SHIFT_SPREAD = 1.2
FEWEST = 10
"""An operator, device, probe or technique with fewer exams in either period is not weighed."""
MICRO = 1_000_000


@dataclass(frozen=True)
class Explanation:
    """One thing that may have moved.

    kind: NOTHING, ALIKE, OPERATOR, DEVICE or PROBE, the first of these where several share the
    same exams and so cannot be told apart. members: (column, id) of all of them. weight:
    probability among all explanations. shift: log odds, after less before.
    """

    kind: str
    members: tuple[tuple[str, str], ...]
    weight: float
    shift: float
    n_after: int


@dataclass(frozen=True)
class Part:
    """Share points in millionths; lower and upper: 95 % bootstrap interval."""

    name: str
    micro: int
    lower_micro: int
    upper_micro: int


@dataclass(frozen=True)
class Explained:
    """Before and after: exams and events. parts: as PARTS, adding up to change_micro exactly.
    explanations: the most likely first."""

    n_before: int
    events_before: int
    n_after: int
    events_after: int
    change_micro: int
    parts: tuple[Part, ...]
    explanations: tuple[Explanation, ...]
