"""Signals of units that stand for others without a chart's call of their own."""

from typing import Any

import numpy as np

from qa.model.words import UnitKind
from qa.signals.changes import stakes_of
from qa.signals.parts import MONTHS_BEFORE, Cells, Mask, Shift, month_number, month_of
from qa.stats.change_point import change_month

Row = dict[str, Any]


def made_signal(
    cells: Cells, part: Mask, first: Row, *, unit: tuple[UnitKind, str], before: Shift
) -> Row:
    """A signal of a unit that no chart watches, or whose chart has not called, from its cells.

    Args:
        part: the unit's cells.
        first: a signal of the same measure, side and month; what is not named here is taken over.
        unit: kind and id of the unit.
        before: the part since about the change, for its usual share.
    """
    kind, unit_id = unit
    to, centre, side = month_number(first["month"]), before.share_before, first["side"]
    months = np.unique(cells.month[part & (cells.month > to - MONTHS_BEFORE) & (cells.n > 0)])
    sums = [
        np.array([counts[part & (cells.month == one)].sum() for one in months])
        for counts in (cells.n_events, cells.n)
    ]
    found = change_month(
        sums[0] if side > 0 else sums[1] - sums[0],
        sums[1],
        centre=centre if side > 0 else 1 - centre,
    )
    since = sums[0][found.estimate :], sums[1][found.estimate :]
    month = f"{first['month']:%Y-%m}"
    parts = (month, kind.value, unit_id, first["measure_id"], first["criteria_id"])
    n_events, n = (int(one.sum()) for one in since)
    stakes = stakes_of([n_events], [n], [centre], [side])
    return (
        first
        | {name: float(one[0]) for name, one in stakes.items()}
        | {
            "signal_id": ".".join(parts),
            "unit_kind": kind.value,
            "unit_id": unit_id,
            "since_month": month_of(int(months[found.estimate])),
            "since_first": month_of(int(months[found.first])),
            "since_last": month_of(int(months[found.last])),
            "n_events": n_events,
            "n": n,
            "centre": centre,
            "baseline_from": "before",
            "rules": [],
            "evidence": None,
            "evidence_limit": None,
            "month_events": int(sums[0][-1]),
            "month_n": int(sums[1][-1]),
        }
    )
