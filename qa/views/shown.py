"""What a screen or a pack shows: plain values, ready to draw; computed once, drawn many times."""

from dataclasses import dataclass, field
from datetime import date


@dataclass(frozen=True)
class ChartPoint:
    """One month of a control chart. Shares are 0 to 1."""

    month: date
    n: int
    n_events: int
    value: float | None
    lower: float | None
    upper: float | None
    centre: float | None
    lcl: float | None
    ucl: float | None
    phase: str
    state: str
    rules: tuple[str, ...]
    criteria_id: str
    baseline_id: str | None = None
    equipment_from: date | None = None
    target: float | None = None
    target_verdict: str | None = None

    @property
    def part(self) -> tuple[str, date | None]:
        """What months share that one line may join: criteria set and devices."""
        return self.criteria_id, self.equipment_from


@dataclass(frozen=True)
class ChartNote:
    """What happened on a day of a chart, as somebody wrote it down.

    Args: where: the unit, where it is not the chart's own. who: its author. written_on: ISO day.
    """

    number: int
    annotation_id: str
    unit_kind: str
    unit_id: str
    day: date
    kind: str
    words: str
    where: str
    who: str
    written_on: str

    @property
    def mark(self) -> str:
        """What stands in the chart at its day."""
        return f"▲{self.number}"

    @property
    def text(self) -> str:
        """Example: '2026-10-05, new staff: Two beginners. (Ada Vale, 2026-11-02)'"""
        where = f"{self.where}, " if self.where else ""
        end = "" if self.words.endswith((".", "!", "?")) else "."
        return f"{self.day}, {where}{self.kind}: {self.words}{end} ({self.who}, {self.written_on})"


@dataclass(frozen=True)
class Unsigned:
    """Days on which a device was used between an event and its sign-off (to_day None: not yet).

    draw_from, draw_to: the part of them within the chart.
    """

    device_id: str
    event: str
    from_day: date
    to_day: date | None
    draw_from: date
    draw_to: date

    @property
    def text(self) -> str:
        until = f"to {self.to_day}" if self.to_day else "on"
        return (
            f"{self.device_id} was not signed off from {self.from_day} {until}, after the "
            f"{self.event}: exams on it are marked."
        )


@dataclass(frozen=True)
class ChartView:
    """A control chart: the finding in words, its points, and why it is drawn this way.

    baseline_note: what a reader has to know of the baseline (months taken out, a short or unsteady
    one, who re-set it); "" where nothing is. other_breaks: months from which other devices or a
    new baseline count, in words.
    """

    unit_kind: str
    unit_id: str
    unit_name: str
    measure_id: str
    measure_title: str
    short_title: str
    finding: str
    why_chart: str
    points: tuple[ChartPoint, ...]
    baseline_text: str
    better: str
    is_grade: bool = False
    criteria_breaks: tuple[date, ...] = ()
    other_breaks: tuple[tuple[date, str], ...] = ()
    baseline_note: str = ""
    noun: str = "exam"
    """What a point counts, one of them."""
    notes: tuple[ChartNote, ...] = ()
    unsigned: tuple[Unsigned, ...] = ()


@dataclass(frozen=True)
class FunnelDot:
    """One unit in a funnel plot."""

    unit_id: str
    name: str
    site_id: str | None
    n: int
    n_events: int
    value: float | None
    lower: float | None
    upper: float | None
    state: str
    is_own: bool = False
    expected: float | None = None
    ratio_text: str = ""
    adjusted: float | None = None
    shrunken_text: str = ""
    plotted_n: int = 0

    @property
    def plotted(self) -> float | None:
        """Share at which it is drawn: adjusted for its patients where they are known."""
        return self.value if self.adjusted is None else self.adjusted


@dataclass(frozen=True)
class FunnelView:
    """A funnel plot with exact 95 % and 99.8 % limits as curves over n.

    Args:
        is_adjusted: dots are drawn at their share adjusted for patients, and at the number of
            exams that would be as telling with patients like those of all units.
        how_text: what the dots show and what is adjusted for, in words.
        spread_lcl, spread_ucl: 99.8 % limits that also allow for how units ordinarily differ.
    """

    finding: str
    measure_id: str
    measure_title: str
    period_text: str
    centre: float | None
    dots: tuple[FunnelDot, ...]
    curve_n: tuple[int, ...]
    lcl95: tuple[float, ...]
    ucl95: tuple[float, ...]
    lcl998: tuple[float, ...]
    ucl998: tuple[float, ...]
    is_adjusted: bool = False
    how_text: str = ""
    spread_lcl: tuple[float, ...] = ()
    spread_ucl: tuple[float, ...] = ()
    from_month: date | None = None


@dataclass(frozen=True)
class Figure:
    """A number with its interval and its n, in words; what a manifest records.

    `beside` compares it in words, for example with the network's figure.
    """

    name: str
    label: str
    text: str
    value: float | None
    n: int | None = None
    interval_text: str = ""
    beside: str = ""
    measure_id: str = ""


@dataclass(frozen=True)
class GradeBar:
    """A distribution over the bands of one table for one unit and period.

    lower, upper: Wilson 95 % intervals of the shares; all tuples are empty where n is 0.
    """

    label: str
    table_id: str
    n: int
    band_labels: tuple[str, ...]
    shares: tuple[float, ...]
    counts: tuple[int, ...]
    lower: tuple[float, ...] = ()
    upper: tuple[float, ...] = ()
    unit_id: str = ""


@dataclass(frozen=True)
class Table:
    """A table as shown and as exported: headings, rows of text, and a sentence above it."""

    title: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""
    links: tuple[str | None, ...] = field(default=())
