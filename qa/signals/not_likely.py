"""What an item is probably not, with the figures that say so."""

from collections.abc import Callable
from typing import Any

from qa.model.words import UnitKind
from qa.signals.context import Context, Patients, ProbeShare
from qa.signals.parts import Shift
from qa.stats.intervals import newcombe_difference

Row = dict[str, Any]

ALLOWED_FOR = (
    "Hardly the patients alone: what was expected allows for them as far as they are known."
)

SAME_PATIENTS = 0.15
"""Relative change to the bad side of what patients let expect up to which they are no reason."""


def probably_not(row: Row, context: Context) -> str:
    """What the data speak against, with the reason; then what stays open.

    Example: "Not room, device or patients: the other 4 operators of the site stayed at 4.4 %
    (4.6 % before)."
    """
    if not row["is_change"]:
        return ALLOWED_FOR if row["is_adjusted"] else _difference(context)
    parts = _BY_KIND[UnitKind(row["unit_kind"])](row, context)
    parts.append(_patients(row, context))
    return " ".join(sorted((part for part in parts if part), key=lambda part: part[:3] != "Not"))


def _operator(row: Row, context: Context) -> list[str]:
    return [
        _others(
            row,
            context,
            one="other operator of the site",
            many="other {} operators of the site",
            against="room, device or patients",
            alone="Open: nobody else examines at the site, so that technique, room, device and "
            "patients cannot be told apart.",
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
        f"Not their technique: the same people stayed at {_from_before(same)} on other devices."
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
            against="room or patients",
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
        f"Open: {_percent(context.probe.since)} % of these exams were made with the large-patient "
        "probe; other patients may be the whole reason."
    )


def _others(row: Row, context: Context, *, one: str, many: str, against: str, alone: str) -> str:
    if context.others is None:
        return alone
    who, shift = one if context.n_others == 1 else many.format(context.n_others), context.others
    if not shift.is_known:
        return f"Open: the {who} did too few exams since then to compare."
    if shift.is_steady:
        return f"Not {against}: the {who} stayed at {_from_before(shift)}."
    return f"Open: the {who} moved as well ({_from_to(shift)}); what they share may be part of it."


def _count_parts(row: Row, context: Context, word: str, against: str) -> str:
    known = [one for one in context.parts if one.is_known]
    if len(known) < 2:
        return f"Open: only one {word} has enough exams to compare." if known else ""
    n_moved = sum(one.is_moved for one in known)
    n_worse = sum(one.excess > 0 for one in known)
    verb = "lies" if n_worse == 1 else "lie"
    said = f"{n_worse} of {len(known)} {word}s {verb} on the bad side of what was usual"
    return f"Not {against}: {said}." if n_moved > 1 else f"Open: {said}."


def _on_devices(context: Context, against: str) -> str:
    if len(context.devices) < 2:
        return ""
    moved = [name for name, shift in context.devices if shift.is_moved]
    if len(moved) == len(context.devices):
        how_many = "both" if len(moved) == 2 else f"all {len(moved)}"
        return f"Not {against}: it shows on {how_many} devices."
    if len(moved) == 1 and _stands_out(moved[0], dict(context.devices)):
        shares = [f"{name} {_percent(shift.share)} %" for name, shift in context.devices]
        return f"Open: it shows most on {moved[0]} ({', '.join(shares)}); look at the device too."
    return ""


def _stands_out(device: str, shifts: dict[str, Shift]) -> bool:
    """Whether a device's share lies apart from the others' beyond chance."""
    own, others = shifts[device], [one for name, one in shifts.items() if name != device]
    rest = sum(one.n_events for one in others), sum(one.n for one in others)
    low, high = newcombe_difference(own.n_events, own.n, *rest)
    return bool(low > 0 or high < 0)


def _patients(row: Row, context: Context) -> str:
    """What is known of other patients: from the case-mix model, else from the probes used."""
    if row["unit_kind"] == UnitKind.DEVICE:
        return ""
    is_fewer = context.probe is not None and context.probe.change < 0
    parts = [_fewer_large(context.probe)] if context.probe is not None and is_fewer else []
    if context.patients is not None:
        parts.append(_case_mix(context.patients, row["side"]))
    elif context.probe is not None and not is_fewer:
        parts.append(_probes(context.probe))
    return " ".join(parts)


def _case_mix(patients: Patients, side: int) -> str:
    since, before = _percent(patients.since), _percent(patients.before)
    if (patients.since - patients.before) * side <= SAME_PATIENTS * patients.before:
        return (
            f"Not other patients: by age, sex, body-mass index and reason for the exam they let "
            f"expect {since} % ({before} % before)."
        )
    return (
        f"Open: by age, sex, body-mass index and reason for the exam the patients let expect "
        f"{since} % ({before} % before); the centre line allows for it."
    )


def _fewer_large(probe: ProbeShare) -> str:
    return (
        f"Open: fewer exams were made with the large-patient probe ({_percent(probe.since)} %, "
        f"{_percent(probe.before)} % before); see whether the probe still fits the patient."
    )


def _probes(probe: ProbeShare) -> str:
    since, before = _percent(probe.since), _percent(probe.before)
    if probe.change > 0:
        return (
            f"Open: more exams were made with the large-patient probe ({since} %, {before} % "
            "before); other patients may be part of it."
        )
    return (
        f"Not heavier patients, as far as the probes tell: {since} % of exams were made with the "
        f"large-patient probe ({before} % before)."
    )


def _from_before(shift: Shift) -> str:
    return f"{_percent(shift.share)} % ({_percent(shift.share_before)} % before)"


def _from_to(shift: Shift) -> str:
    return f"from {_percent(shift.share_before)} to {_percent(shift.share)} %"


def _percent(share: float) -> str:
    return f"{share * 100:.1f}"
