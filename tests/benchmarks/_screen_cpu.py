"""Processor seconds of questions asked in turn; for `screens`."""

import statistics
import time
from collections.abc import Callable

ROUNDS = 9
REPORTED = 1e9
"""Goal of figures that are told and have none."""


def cpu_of(ask: Callable[[], object]) -> float:
    start = time.process_time()
    ask()
    return time.process_time() - start


def alternated(*asks: Callable[[], object]) -> list[float]:
    """Median processor seconds of each, one after the other in each round."""
    found: list[list[float]] = [[] for _ in asks]
    for _ in range(ROUNDS):
        for place, ask in enumerate(asks):
            found[place].append(cpu_of(ask))
    return [statistics.median(one) for one in found]
