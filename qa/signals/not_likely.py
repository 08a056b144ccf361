"""What an item is probably not, with the figures that say so."""

from collections.abc import Callable
from typing import Any

from qa.model.words import UnitKind
from qa.signals.context import Context, ProbeShare
from qa.signals.parts import Shift
from qa.stats.intervals import newcombe_difference

Row = dict[str, Any]

OTHER_PATIENTS = "other patients may be part of it."
ALLOWED_FOR = (
    "What was expected allows for the patients as far as they are known, so they are hardly the "
    "whole reason."
)


def probably_not(row: Row, context: Context) -> str:
    """Sentences on other explanations; what cannot be told apart is said to be so.

    Example: "The other 4 operators of the site stayed at 4.4 % (4.6 % before), which speaks
    against room, device and patients."
    """
    if not row["is_change"]:
        return ALLOWED_FOR if row["is_adjusted"] else _difference(context)
    parts = _BY_KIND[UnitKind(row["unit_kind"])](row, context)
    if context.probe is not None and row["unit_kind"] != UnitKind.DEVICE:
        parts.append(_patients(context.probe, is_adjusted=row["is_adjusted"]))
    return " ".join(part for part in parts if part)


def _operator(row: Row, context: Context) -> list[str]:
    return [
        _others(
            row,
            context,
            one="other operator of the site",
            many="other {} operators of the site",
            against="room, device and patients",
            alone="Nobody else examines at the site: technique, room, device and patients "
            "cannot be told apart.",
        ),
        _on_devices(context, "a fault of one device"),
    ]


def _site(row: Row, context: Context) -> list[str]:
    return [
        _count_parts(row, context, "operator", "one person's technique"),
        _others(
            row,
            context,
            one="other site",
            many="other {} sites",
            against="a change of rules or software for all",
            alone="",
        ),
        _on_devices(context, "a fault of one device"),
    ]


def _device(row: Row, context: Context) -> list[str]:
    same = context.elsewhere
    people = (
        f"The same people stayed at {_from_before(same)} on other devices, which speaks against "
        "their technique."
        if same is not None and same.is_steady
        else ""
    )
    return [
        _count_parts(row, context, "operator", "one person's technique"),
        _others(
            row,
            context,
            one="other device of the site",
            many="other {} devices of the site",
            against="room and patients",
            alone="",
        )
        if not people
        else "",
        people,
    ]


def _network(row: Row, context: Context) -> list[str]:
    return [_count_parts(row, context, "site", "one site's work")]


_BY_KIND: dict[UnitKind, Callable[[Row, Context], list[str]]] = {
    UnitKind.OPERATOR: _operator,
    UnitKind.SITE: _site,
    UnitKind.DEVICE: _device,
    UnitKind.NETWORK: _network,
}


def _difference(context: Context) -> str:
    """A lasting difference has no before; only the patients can be spoken of."""
    if context.probe is None:
        return ""
    return (
        f"{_percent(context.probe.since)} % of these exams were made with the large-patient probe; "
        "other patients may be the whole reason."
    )


def _others(row: Row, context: Context, *, one: str, many: str, against: str, alone: str) -> str:
    if context.others is None:
        return alone
    who, shift = one if context.n_others == 1 else many.format(context.n_others), context.others
    if not shift.is_known:
        return f"The {who} did too few exams since then to compare."
    if shift.is_steady:
        return f"The {who} stayed at {_from_before(shift)}, which speaks against {against}."
    return f"The {who} moved as well ({_from_to(shift)}): what they share may be part of it."


def _count_parts(row: Row, context: Context, word: str, against: str) -> str:
    known = [one for one in context.parts if one.is_known]
    if len(known) < 2:
        return f"Only one {word} has enough exams to compare." if known else ""
    n_moved = sum(one.is_moved for one in known)
    n_worse = sum(one.excess > 0 for one in known)
    verb = "lies" if n_worse == 1 else "lie"
    said = f"{n_worse} of {len(known)} {word}s {verb} on the bad side of what was usual"
    return f"{said}, which speaks against {against}." if n_moved > 1 else f"{said}."


def _on_devices(context: Context, against: str) -> str:
    if len(context.devices) < 2:
        return ""
    moved = [name for name, shift in context.devices if shift.is_moved]
    if len(moved) == len(context.devices):
        how_many = "both" if len(moved) == 2 else f"all {len(moved)}"
        return f"It shows on {how_many} devices, which speaks against {against}."
    if len(moved) == 1 and _stands_out(moved[0], dict(context.devices)):
        shares = [f"{name} {_percent(shift.share)} %" for name, shift in context.devices]
        return f"It shows most on {moved[0]} ({', '.join(shares)}): have the device looked at too."
    return ""


def _stands_out(device: str, shifts: dict[str, Shift]) -> bool:
    """Whether a device's share lies apart from the others' beyond chance."""
    own, others = shifts[device], [one for name, one in shifts.items() if name != device]
    rest = sum(one.n_events for one in others), sum(one.n for one in others)
    low, high = newcombe_difference(own.n_events, own.n, *rest)
    return bool(low > 0 or high < 0)


def _patients(probe: ProbeShare, *, is_adjusted: bool) -> str:
    since, before = _percent(probe.since), _percent(probe.before)
    if probe.change > 0:
        return (
            f"More exams were made with the large-patient probe ({since} %, {before} % before): "
            + ("heavier patients, who are allowed for." if is_adjusted else OTHER_PATIENTS)
        )
    if probe.change < 0:
        return (
            f"Fewer exams were made with the large-patient probe ({since} %, {before} % before): "
            "see whether the probe still fits the patient."
        )
    return (
        f"{since} % of exams were made with the large-patient probe, {before} % before: no sign "
        "of other patients."
    )


def _from_before(shift: Shift) -> str:
    return f"{_percent(shift.share)} % ({_percent(shift.share_before)} % before)"


def _from_to(shift: Shift) -> str:
    return f"from {_percent(shift.share_before)} to {_percent(shift.share)} %"


def _percent(share: float) -> str:
    return f"{share * 100:.1f}"
