"""What to look at next, and for an operator which step of the technique to train."""

from collections.abc import Sequence
from typing import Any

from qa.model.words import UnitKind
from qa.signals.wording import Wording

Row = dict[str, Any]

PROBE_STEP = "probe choice: the large-patient probe where the liver lies deep"
AT_ONCE_STEP = "when to stop: the cause of a poor exam found before it is made again at once"


def suggestion(row: Row, wording: Wording, *, lead: Row | None, faces: Sequence[Row]) -> str:
    """One or two sentences; steps come from the measures' definition files.

    Args: lead: the signal that stands for this one.   faces: those that this one stands for.
    """
    if lead is not None:
        return f"Begin with {wording.name(lead)}, where most of it comes from."
    steps = _steps(row, wording, faces)
    if not row["is_change"]:
        what = "probes and devices" if row["is_adjusted"] else "patients and probes"
        return f"Compare {what} with the others first. Then work on {steps[0]}."
    kind, name = row["unit_kind"], wording.name(row)
    if kind == UnitKind.DEVICE:
        return (
            f"Have {name} looked at: probe, cable, gel and service record; measure a phantom on it "
            "and on another device. Use another device until then where there is a choice."
        )
    if kind == UnitKind.SITE:
        return f"No single operator has half of it: look at what all share. Work on {steps[0]}."
    if kind == UnitKind.NETWORK:
        return (
            "No few units have half of it: look at what all sites share, such as rules, software "
            "and how exams are counted."
        )
    return f"Sit in on a few exams. Work on {'; then on '.join(steps)}."


def _steps(row: Row, wording: Wording, faces: Sequence[Row]) -> list[str]:
    """Steps of the measure and of its other faces at the same unit, without doubles."""
    own = [row, *(one for one in faces if one["unit_id"] == row["unit_id"])]
    steps = [
        AT_ONCE_STEP if one["at_once_share"] > 0.5 else wording.measures[one["measure_id"]].step
        for one in own
    ]
    context = wording.contexts.get(row["signal_id"])
    probe = context.probe if context and row["unit_kind"] == UnitKind.OPERATOR else None
    if probe is not None and probe.change < 0:
        steps.insert(0, PROBE_STEP)
    return list(dict.fromkeys(steps))[:3]
