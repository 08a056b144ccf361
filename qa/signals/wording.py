"""What sentences are made with."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from qa.model.definitions import Measure
from qa.signals.context import Context

Row = dict[str, Any]


@dataclass(frozen=True)
class Wording:
    """Names, measures and facts that sentences are made with.

    contexts: by signal_id, of those that stand for themselves. n_charts: charts watched, by month.
    """

    measures: dict[str, Measure]
    names: dict[tuple[str, str], str]
    contexts: Mapping[str, Context]
    n_charts: Mapping[date, int]

    def name(self, row: Row) -> str:
        return self.names.get((row["unit_kind"], row["unit_id"]), str(row["unit_id"]))
