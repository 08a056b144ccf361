"""Scales and labels that the charts share."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from math import ceil, floor

from qa.model.months import MONTH_NAMES

STEPS = (0.005, 0.01, 0.02, 0.05, 0.10, 0.20, 0.25, 0.50)


@dataclass(frozen=True)
class Scale:
    """A straight map from values to points on paper."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Position of a value; values beyond the ends stay at the end."""
        inside = min(max(value, self.low), self.high)
        return self.start + (inside - self.low) / (self.high - self.low) * (self.end - self.start)


def share_ticks(low: float, high: float) -> tuple[float, ...]:
    """Two to five round shares between the ends of an axis.

    Example: share_ticks(0.0, 0.17) → (0.0, 0.05, 0.10, 0.15)
    """
    step = next((step for step in STEPS if (high - low) / step <= 4.5), STEPS[-1])
    first, last = ceil(low / step - 1e-9), floor(high / step + 1e-9)
    return tuple(step * i for i in range(first, last + 1))


def share_range(
    values: Sequence[float], lower: Sequence[float], upper: Sequence[float]
) -> tuple[float, float]:
    """Ends of a share axis: shows every value; limits only as far as they leave room for values.

    Limits of months with very few exams reach 100 % and would press everything else flat. The
    axis starts at 0 but where all of it would lie in the upper half, as with shares near 100 %.

    Args: values: shares; lower, upper: limits.
    """
    highest = max((*values, _usual(upper, 0.75)), default=0.0)
    lowest = min((*values, _usual(lower, 0.25)), default=0.0)
    if values and lowest > 0.5 * highest:
        room = (highest - lowest) * 0.08
        low = floor((lowest - room) * 20) / 20
        return max(low, 0.0), min(highest + room, 1.0) if highest < 0.98 else 1.0
    return 0.0, min(max(highest * 1.12, 0.02), 1.0)


def _usual(limits: Sequence[float], part: float) -> float:
    """The limit below which `part` of the limits lie; 0 where there are none."""
    ordered = sorted(limits)
    return ordered[int((len(ordered) - 1) * part)] if ordered else 0.0


def month_label(month: date, *, has_year: bool) -> str:
    name = MONTH_NAMES[month.month - 1][:3]
    return f"{name} {month.year % 100:02d}" if has_year else name


def spread(positions: Sequence[float], *, gap: float, low: float = 0.0) -> list[float]:
    """Move labels apart until neighbours are at least `gap` away; order is kept.

    Args: low: no label ends below it; those above are lifted as far as needed.
    """
    order = sorted(range(len(positions)), key=lambda i: positions[i])
    moved = list(positions)
    for _ in range(20):
        is_apart = True
        for below, above in pairwise(order):
            overlap = gap - (moved[above] - moved[below])
            if overlap > 1e-6:
                moved[above] += overlap / 2
                moved[below] -= overlap / 2
                is_apart = False
        if is_apart:
            break
    floor = low
    for i in order:
        moved[i] = max(moved[i], floor)
        floor = moved[i] + gap
    return moved


def tick_texts(ticks: Sequence[float]) -> list[str]:
    """Percent figures; the highest carries the sign. Example: (0.0, 0.05) → ['0', '5 %']"""
    texts = [f"{share * 100:g}" for share in ticks]
    return [*texts[:-1], f"{texts[-1]} %"] if texts else []
