"""An operator's learning curve: the share of reliable exams over the exams done so far."""

from dataclasses import dataclass
from datetime import date
from typing import Any

import polars as pl

from qa.measures import with_interval
from qa.model.months import short_month_name
from qa.model.published import Published
from qa.model.words import UnitKind
from qa.views import words
from qa.views.names import NETWORK_ID

BLOCK = 50
"""Judged exams that make one point; fewer say little of a share. A proposal of this tool."""
_BLOCKS = pl.Schema(
    {"from_month": pl.Date, "to_month": pl.Date, "n": pl.Int64, "n_events": pl.Int64}
)


@dataclass(frozen=True)
class LearningPoint:
    """Months put together until they hold BLOCK judged exams. n_so_far: all up to its end."""

    from_month: date
    to_month: date
    n: int
    n_reliable: int
    share: float
    lower: float
    upper: float
    n_so_far: int

    @property
    def months_text(self) -> str:
        if self.from_month == self.to_month:
            return short_month_name(self.from_month)
        return f"{short_month_name(self.from_month)} to {short_month_name(self.to_month)}"


@dataclass(frozen=True)
class LearningView:
    """The curve.

    Args:
        finding: in words. all_share: of all operators over the same months; None: not known.
        experienced_at: exams from which one counts as experienced.
    """

    finding: str
    points: tuple[LearningPoint, ...]
    all_share: float | None
    experienced_at: int
    note: str


def learning_view(published: Published, *, operator_id: str, month: date) -> LearningView:
    """The operator's exams from the first export up to the month.

    Weak when: the operator began before the first export; what lies before is not counted. The
        newest months join the point before where they hold fewer than BLOCK exams.
    """
    counts = published.frame("monthly_counts", operator_id=operator_id)
    by_month = (
        counts.filter(pl.col("month") <= month)
        .group_by("month")
        .agg(pl.col("n_judged", "n_reliable").sum())
        .filter(pl.col("n_judged") > 0)
        .sort("month")
    )
    points = _points(by_month)
    provisional = published.network.settings.provisional_until_exams
    return LearningView(
        finding=_finding(points),
        points=points,
        all_share=_all_share(published, points),
        experienced_at=provisional,
        note=(
            f"Each point puts months together until they hold {BLOCK} judged exams; exams before "
            f"the first export are not counted. Until {provisional} exams an operator is "
            "provisional (100: Perazzo 2015; EASL-ALEH 2015 by memory; the network sets it)."
        ),
    )


def _blocks(by_month: pl.DataFrame) -> list[list[tuple[date, int, int]]]:
    blocks: list[list[tuple[date, int, int]]] = [[]]
    for row in by_month.select("month", "n_judged", "n_reliable").iter_rows():
        if sum(n for _, n, _ in blocks[-1]) >= BLOCK:
            blocks.append([])
        blocks[-1].append(row)
    if len(blocks) > 1 and sum(n for _, n, _ in blocks[-1]) < BLOCK:
        blocks[-2:] = [blocks[-2] + blocks[-1]]
    return [block for block in blocks if block]


def _points(by_month: pl.DataFrame) -> tuple[LearningPoint, ...]:
    rows = [
        (block[0][0], block[-1][0], sum(n for _, n, _ in block), sum(k for _, _, k in block))
        for block in _blocks(by_month)
    ]
    found = pl.DataFrame(rows, schema=_BLOCKS, orient="row")
    told = with_interval(found).with_columns(n_so_far=pl.col("n").cum_sum())
    return tuple(
        LearningPoint(
            row["from_month"],
            row["to_month"],
            row["n"],
            row["n_events"],
            row["value"],
            row["lower"],
            row["upper"],
            row["n_so_far"],
        )
        for row in told.iter_rows(named=True)
    )


def _all_share(published: Published, points: tuple[LearningPoint, ...]) -> float | None:
    """Reliable of all judged exams of the network over the months of the curve."""
    if not points:
        return None
    measure = published.definitions.measure_by_key("reliable")
    rows = published.frame(
        "chart_points",
        unit_kind=UnitKind.NETWORK.value,
        unit_id=NETWORK_ID,
        measure_id=measure.id,
    ).filter(pl.col("month").is_between(points[0].from_month, points[-1].to_month))
    n = int(rows["n"].sum())
    return int(rows["n_events"].sum()) / n if n else None


def _finding(points: tuple[LearningPoint, ...]) -> str:
    """Holds the newer half against the older by their intervals, never by eye."""
    if not points:
        return "No judged exam yet."
    last = points[-1]
    if len(points) == 1:
        now = words.percent_with_interval(last.share, last.lower, last.upper)
        return (
            f"{now} reliable after {words.whole(last.n_so_far)} exams; a curve needs {2 * BLOCK}."
        )
    half = len(points) // 2
    older, newer = _together(points[:half]), _together(points[half:])
    now = words.percent_with_interval(newer["value"], newer["lower"], newer["upper"])
    told = (
        f"{now} reliable since {short_month_name(points[half].from_month)}, "
        f"{words.percent(older['value'])} before, after {words.whole(last.n_so_far)} exams"
    )
    if newer["lower"] > older["upper"]:
        return f"Better with practice: {told}."
    if newer["upper"] < older["lower"]:
        return f"Lower than before: {told}."
    return f"Level: {told}; the two do not differ beyond chance."


def _together(points: tuple[LearningPoint, ...]) -> dict[str, Any]:
    """Several points as one, with its interval."""
    row = (sum(one.n for one in points), sum(one.n_reliable for one in points))
    (found,) = with_interval(pl.DataFrame([row], schema=["n", "n_events"], orient="row")).iter_rows(
        named=True
    )
    return found
