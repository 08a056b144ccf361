"""Scales and labels that the charts share."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

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


def share_ticks(top: float) -> tuple[float, ...]:
    """Two to five round shares from 0 that reach or nearly reach `top`.

    Example: share_ticks(0.17) → (0.0, 0.05, 0.10, 0.15)
    """
    step = next((step for step in STEPS if top / step <= 4.5), STEPS[-1])
    return tuple(step * i for i in range(int(top / step + 1e-9) + 1))


def share_top(values: Sequence[float], limits: Sequence[float]) -> float:
    """Top of a share axis: shows every value; limits only as far as they leave room for values.

    Limits of months with very few exams reach 100 % and would press everything else flat.
    """
    highest = max(values, default=0.0)
    ordered = sorted(limits)
    usual = ordered[len(ordered) * 3 // 4] if ordered else 0.0
    return min(max(highest * 1.12, usual * 1.12, 0.02), 1.0)


def month_label(month: date, *, has_year: bool) -> str:
    name = MONTH_NAMES[month.month - 1][:3]
    return f"{name} {month.year % 100:02d}" if has_year else name


def spread(positions: Sequence[float], *, gap: float) -> list[float]:
    """Move labels apart until neighbours are at least `gap` away; order is kept."""
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
    return moved


def tick_text(share: float) -> str:
    """Example: tick_text(0.05) → '5', tick_text(0.005) → '0.5'"""
    return f"{share * 100:g}"
