"""Words of an explained change: verdict, confidence, what next; rows of its tables."""

from dataclasses import dataclass

import polars as pl

from qa.charts.curves import share_intervals
from qa.drift.explain import (
    ALIKE,
    DEVICE,
    MICRO,
    NOTHING,
    OPERATOR,
    PATIENTS,
    PROBE,
    REMAINDER,
    Explained,
    Explanation,
    Part,
)
from qa.drift.verdict import (
    FEW,
    LIKELY,
    NOT_ESTABLISHED,
    NOT_MOVED,
    UNSEEN_PATIENTS,
    VERY_LIKELY,
    Verdict,
)
from qa.model.definitions import Measure, Network
from qa.model.words import UnitKind
from qa.views import words
from qa.views.names import spoken_name

PART_WORDS = {
    PATIENTS: "Referral mix: other patients, as far as exports describe them",
    OPERATOR: "Operators: who examines, and how",
    DEVICE: "Devices: which are used, and how they read",
    PROBE: "Probe and technique",
    ALIKE: "Everybody at the site alike",
    REMAINDER: "Remainder: chance, and what no part holds",
}
COLUMN_WORDS = {
    "operator_id": "Operator",
    "device_id": "Device",
    "probe": "Probe",
    "technique": "Technique",
}
SHOWN_WEIGHT = 0.01


@dataclass(frozen=True)
class PartRow:
    """One part of the change in percent points with its interval, and where it is drawn.

    left, width: of the bar; low, high: ends of the interval; zero: the line without change; all in
    percent of the drawing's width.
    """

    name: str
    text: str
    left: float
    width: float
    low: float
    high: float
    zero: float


@dataclass(frozen=True)
class WeightRow:
    """One explanation and its probability."""

    name: str
    weight: float
    text: str
    shift_text: str


@dataclass(frozen=True)
class MemberRow:
    """One operator, device, probe or technique before and after."""

    kind: str
    name: str
    n_before: int
    before_text: str
    n_after: int
    after_text: str

    @property
    def label(self) -> str:
        """Example: 'Operator 41'; 'Probe: standard'."""
        return self.name if self.name.startswith(self.kind) else f"{self.kind}: {self.name}"

    @property
    def n_before_text(self) -> str:
        return words.whole(self.n_before)

    @property
    def n_after_text(self) -> str:
        return words.whole(self.n_after)


def answer_words(
    network: Network, name: str, measure: Measure, found: Explained, verdict: Verdict
) -> str:
    """The verdict as one sentence."""
    if verdict.cause == FEW:
        return f"{name}: too few exams to say why {measure.event} have moved"
    if verdict.cause == NOT_MOVED:
        return f"{name}: {measure.event} have not moved beyond chance"
    moved = (
        f"{name}: {measure.event} {'rose' if found.change_micro > 0 else 'fell'} from "
        f"{words.percent_number(found.events_before / found.n_before)} to "
        f"{words.percent(found.events_after / found.n_after)}"
    )
    return f"{moved}: {_cause_words(network, measure, found, verdict)}"


def _cause_words(network: Network, measure: Measure, found: Explained, verdict: Verdict) -> str:
    how = "very likely" if verdict.weight >= VERY_LIKELY else "probably"
    top = found.explanations[0]
    if verdict.cause == PATIENTS:
        return "other patients were referred"
    if verdict.cause == UNSEEN_PATIENTS:
        return (
            f"{how} other patients, as all operators and devices moved alike; exports do not "
            "describe what is different"
        )
    if verdict.cause == NOT_ESTABLISHED:
        if top.kind == ALIKE and top.weight >= LIKELY:
            return f"cause not established; {_alike_words(network, top)}"
        return "cause not established"
    if verdict.is_composition:
        return {
            OPERATOR: "other operators examine now; nobody's own level has moved",
            DEVICE: "other devices are used now; no device's own level has moved",
            PROBE: "probes or techniques are used otherwise now",
        }[verdict.cause]
    names = explanation_name(network, top)
    if verdict.cause == DEVICE:
        return f"{how} {words.lower_first(names)}, not its operators"
    return f"{how} {words.lower_first(names)} alone"


def _alike_words(network: Network, top: Explanation) -> str:
    """Where one device serves all, it cannot be told from the site."""
    names = [_member_name(network, *one) for one in top.members]
    if names:
        return (
            f"everybody moved alike, and {words.lower_first(words.listed(names))} serves all, so "
            "device and patients cannot be told apart from exams"
        )
    return "everybody at the site moved alike"


def explanation_name(network: Network, one: Explanation) -> str:
    """Example: 'Operator 41'; 'Device 6 or 2D-SWE', where the two cannot be told apart."""
    if one.kind == NOTHING:
        return "Nothing but who came, who examined them, and with what"
    names = [_member_name(network, *member) for member in one.members]
    if one.kind == ALIKE:
        return " or ".join(["Everybody at the site alike", *map(words.lower_first, names)])
    return " or ".join([names[0][:1].upper() + names[0][1:], *map(words.lower_first, names[1:])])


def _member_name(network: Network, column: str, member: str) -> str:
    if column in ("operator_id", "device_id"):
        return spoken_name(network, _UNIT_KIND[column], member)
    return f"the {member} probe" if column == "probe" else member


_UNIT_KIND = {"operator_id": UnitKind.OPERATOR, "device_id": UnitKind.DEVICE}


def sure_words(network: Network, measure: Measure, found: Explained, verdict: Verdict) -> str:
    """How sure the verdict is, and what stands against it."""
    if verdict.cause == FEW:
        return "Twenty exams before and twenty after are the least that is weighed."
    if verdict.cause == PATIENTS or verdict.is_composition:
        part = next(one for one in found.parts if one.name == verdict.cause)
        return (
            f"{PART_WORDS[part.name].split(':')[0]}: {_points(part.micro)} of "
            f"{_points(found.change_micro)} percent points "
            f"({_points(part.lower_micro)} to {_points(part.upper_micro)})."
        )
    first = found.explanations[0]
    second = found.explanations[1] if len(found.explanations) > 1 else None
    said = f"{explanation_name(network, first)}: {_in_hundred(first.weight)}"
    if second is not None and second.weight >= SHOWN_WEIGHT:
        other = words.lower_first(explanation_name(network, second))
        said += f"; {other}: {_in_hundred(second.weight)}"
    return f"{said}, if one thing moved."


def _in_hundred(weight: float) -> str:
    if weight > 0.99:
        return "more than 99 in 100"
    return f"{round(100 * weight)} in 100" if weight >= SHOWN_WEIGHT else "less than 1 in 100"


def before_after_words(measure: Measure, found: Explained, verdict: Verdict) -> str:
    sides = []
    for events, n in (
        (found.events_before, found.n_before),
        (found.events_after, found.n_after),
    ):
        (lower,), (upper,) = share_intervals((events,), n)
        share = words.percent_with_interval(events / n, lower, upper)
        sides.append(f"{share} of {words.counted(n, 'exam')}")
    points = _points(found.change_micro)
    return (
        f"{words.as_sentence(measure.event)[:-1]}: {sides[0]} before, {sides[1]} after; a change "
        f"of {points} points ({100 * verdict.lower:+.1f} to {100 * verdict.upper:+.1f})."
    )


def _points(micro: int) -> str:
    """Example: 12345 → '+1.23'"""
    return f"{100 * micro / MICRO:+.2f}"


def part_rows(found: Explained, *, has_model: bool) -> tuple[PartRow, ...]:
    """The whole change first, then its parts, on one scale."""
    whole = Part("", found.change_micro, found.change_micro, found.change_micro)
    drawn = (whole, *found.parts)
    ends = [one for part in drawn for one in (part.lower_micro, part.upper_micro, part.micro, 0)]
    first, span = min(ends), max(max(ends) - min(ends), 1)

    def place(micro: int) -> float:
        return round(100 * (micro - first) / span, 2)

    rows = []
    for part in drawn:
        name = PART_WORDS.get(part.name, "The whole change")
        if part.name == PATIENTS and not has_model:
            name = "Referral mix: not worked out for this measure"
        text = _points(part.micro)
        if part.name:
            text += f" ({_points(part.lower_micro)} to {_points(part.upper_micro)})"
        left, right = sorted((place(0), place(part.micro)))
        low, high = place(part.lower_micro), place(part.upper_micro)
        rows.append(PartRow(name, text, left, round(right - left, 2), low, high, place(0)))
    return tuple(rows)


def weight_rows(network: Network, found: Explained) -> tuple[WeightRow, ...]:
    return tuple(
        WeightRow(
            explanation_name(network, one),
            one.weight,
            _in_hundred(one.weight),
            "–" if one.kind == NOTHING else f"{_odds(one.shift)} in {one.n_after:,} exams",
        )
        for one in found.explanations
        if one.weight >= SHOWN_WEIGHT
    )


def _odds(shift: float) -> str:
    """Example: 0.69 → 'odds × 2.0'"""
    return f"odds × {2.718281828459045**shift:.2f}"


def member_rows(
    network: Network, before: pl.DataFrame, after: pl.DataFrame
) -> tuple[MemberRow, ...]:
    """Every operator, device, probe and technique with its exams and share in both periods."""
    rows = []
    for column, kind in COLUMN_WORDS.items():
        sides = [
            {key: (n, k) for key, n, k in _sums(cells, column).iter_rows()}
            for cells in (before, after)
        ]
        for member in sorted({*sides[0], *sides[1]}):
            (n_before, text_before), (n_after, text_after) = (
                _side(*side.get(member, (0, 0))) for side in sides
            )
            name = _member_name(network, column, member)
            if column == "probe":
                name = member
            rows.append(MemberRow(kind, name, n_before, text_before, n_after, text_after))
    return tuple(rows)


def _sums(cells: pl.DataFrame, column: str) -> pl.DataFrame:
    return cells.group_by(column).agg(pl.col("n", "n_events").sum())


def _side(n: int, events: int) -> tuple[int, str]:
    if not n:
        return 0, words.NO_DATA
    (lower,), (upper,) = share_intervals((events,), n)
    return n, words.percent_with_interval(events / n, lower, upper)


def next_words(network: Network, measure: Measure, found: Explained, verdict: Verdict) -> str:
    """What to look at; a cause from exams alone is a question until it is checked."""
    if verdict.cause in (FEW, NOT_MOVED):
        return "Nothing to do for this measure. Look again when more exams are in."
    if verdict.cause in (PATIENTS, UNSEEN_PATIENTS):
        return "Ask the site whether another clinic or ward refers to it since then."
    if verdict.cause == DEVICE:
        return "Check the device on a phantom, and its events since then, before anyone is trained."
    if verdict.cause == OPERATOR:
        return f"Go through recent exams with the operator: {measure.step}."
    if verdict.cause == PROBE:
        return "Look at how the probe is chosen, and check it on a phantom."
    if found.explanations[0].kind == ALIKE:
        return (
            "Check the device on a phantom, and ask the site who refers to it and what was changed "
            "for all, in this order."
        )
    return "Wait for another month, or look at the likeliest two below by hand."
