"""Figures on speed, memory and detection: python -m tests.benchmarks NAME

Each benchmark is a module here with run() → figures. A claim about speed is a ratio against a
baseline named beside it and measured in the same run; a figure without one says so.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class BenchmarkFigure:
    """One measured figure, its goal, and what it was measured against.

    is_upper_bound: True where the value must not be above the goal.
    """

    name: str
    value: float
    goal: float
    baseline: str
    is_upper_bound: bool = True

    @property
    def is_met(self) -> bool:
        return self.value <= self.goal if self.is_upper_bound else self.value >= self.goal
