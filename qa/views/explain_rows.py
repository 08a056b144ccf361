"""Rows of an explained change: parts, explanations, members before and after; their names."""

from dataclasses import dataclass

import polars as pl

from qa.charts.curves import share_intervals
from qa.drift.causes import (
    ALIKE,
    DEVICE,
    MICRO,
    NEWCOMERS,
    NOTHING,
    OPERATOR,
    PATIENTS,
    PROBE,
    REMAINDER,
    Explained,
    Explanation,
    Part,
)
from qa.model.definitions import Network
from qa.model.words import UnitKind
from qa.views import words
from qa.views.names import spoken_name

PART_WORDS = {
    PATIENTS: "Referral mix: other patients, as far as exports describe them",
    OPERATOR: "Operators: who examines, and how",
    DEVICE: "Devices: which are used, and how they read",
    PROBE: "Probe and technique",
    ALIKE: "Everybody at the site alike, and what exports do not describe of patients",
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


def explanation_name(network: Network, one: Explanation) -> str:
    """Example: 'Operator 41'; 'Device 6 or 2D-SWE', where the two cannot be told apart."""
    if one.kind == NOTHING:
        return "Nothing but who came, who examined them, and with what"
    if one.kind == NEWCOMERS:
        return "Patients who came since, while those seen before have not changed"
    names = [member_name(network, *member) for member in one.members]
    if one.kind == ALIKE:
        return " or ".join(["Everybody at the site alike", *map(words.lower_first, names)])
    return " or ".join([names[0][:1].upper() + names[0][1:], *map(words.lower_first, names[1:])])


def member_name(network: Network, column: str, member: str) -> str:
    if column in ("operator_id", "device_id"):
        return spoken_name(network, _UNIT_KIND[column], member)
    return f"the {member} probe" if column == "probe" else member


_UNIT_KIND = {"operator_id": UnitKind.OPERATOR, "device_id": UnitKind.DEVICE}


def in_hundred(weight: float) -> str:
    if weight > 0.99:
        return "more than 99 in 100"
    return f"{round(100 * weight)} in 100" if weight >= SHOWN_WEIGHT else "less than 1 in 100"


def points(micro: int) -> str:
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
        text = points(part.micro)
        if part.name:
            text += f" ({points(part.lower_micro)} to {points(part.upper_micro)})"
        left, right = sorted((place(0), place(part.micro)))
        low, high = place(part.lower_micro), place(part.upper_micro)
        rows.append(PartRow(name, text, left, round(right - left, 2), low, high, place(0)))
    return tuple(rows)


def weight_rows(network: Network, found: Explained) -> tuple[WeightRow, ...]:
    return tuple(
        WeightRow(
            explanation_name(network, one),
            one.weight,
            in_hundred(one.weight),
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
            name = member_name(network, column, member)
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
