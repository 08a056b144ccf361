"""Where a person may want to re-set a baseline: the evidence, never the decision."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa.charts.series import SERIES_KEY
from qa.model.words import Phase
from qa.stats.estimation import estimation_factor
from qa.stats.intervals import wilson_interval
from qa.stats.phase_one import months_kept

Floats = NDArray[np.float64]

# Fewest months at the new level, and the evidence from which a re-set is worth a person's time:
# twice the log likelihood ratio, 15 being once in 10,000 for a month named beforehand.
LEAST_MONTHS, LEAST_EVIDENCE = 6, 15.0


@dataclass(frozen=True)
class Proposal:
    """A series that has run at another level than its baseline, and steadily.

    Args:
        from_month, to_month: the months at the new level; from_month is an estimate.
        old_centre: what the baseline expects. n_events, n, lower, upper: what was found since.
        evidence: twice the log likelihood ratio of the new level.
        is_better: the new level is the better one; None where neither is.
    """

    unit_kind: str
    unit_id: str
    measure_id: str
    criteria_id: str
    baseline_id: str
    from_month: date
    to_month: date
    n_months: int
    old_centre: float
    n_events: int
    n: int
    lower: float
    upper: float
    evidence: float
    is_better: bool | None

    @property
    def value(self) -> float:
        return self.n_events / self.n


def propose_resets(
    points: pl.DataFrame, *, baselines: pl.DataFrame, better: dict[str, str]
) -> list[Proposal]:
    """Find series whose months since some change lie steadily at another level.

    Args:
        points: CHART_POINTS; those of series whose last month is judged by their own baseline.
        baselines: BASELINES behind them.
        better: measure id → "lower", "higher" or "neither".
    Returns: proposals, strongest evidence first. Nothing is changed.
    Method: over the months since the baseline the month is sought from which another share fits
        best; the evidence is divided by 1 + n / exams of the baseline, because the old level is
        an estimate too. Proposed where it is 15 or more, over six months or more, none of
        which lies outside limits made from themselves (qa/stats/phase_one.py).
    Weak when: the change is unwanted: then it is something to mend, and a new baseline would hide
        it. That is why a person decides, with a reason.
    References: Hinkley, Biometrika 1970; 57: 1-17 (the month by likelihood, recalled).
    """
    known = dict(baselines.select("baseline_id", "n").iter_rows())
    found = []
    for rows in _segments(points):
        base = known.get(rows["baseline_id"][-1])
        proposal = _propose(rows, base, better) if base else None
        if proposal is not None:
            found.append(proposal)
    return sorted(found, key=lambda one: (-one.evidence, one.baseline_id))


def _segments(points: pl.DataFrame) -> Iterator[pl.DataFrame]:
    """Months of each series that its newest own baseline has judged, with exams, in order."""
    watched = points.filter(
        (pl.col("phase") == Phase.MONITORING)
        & (pl.col("baseline_from") == "own")
        & (pl.col("n") > 0)
    ).sort(*SERIES_KEY, "month")
    newest = pl.col("criteria_id").last().over("unit_kind", "unit_id", "measure_id")
    same = pl.col("baseline_id") == pl.col("baseline_id").last().over(SERIES_KEY)
    kept = watched.filter((pl.col("criteria_id") == newest) & same)
    yield from kept.partition_by(SERIES_KEY, maintain_order=True)


def _propose(rows: pl.DataFrame, base: int, better: dict[str, str]) -> Proposal | None:
    events, n = rows["n_events"].to_numpy(), rows["n"].to_numpy()
    centre = float(rows["centre"][-1])
    start, evidence = _best_start(events, n, centre=centre, base=base)
    if evidence < LEAST_EVIDENCE:
        return None
    since, size = events[start:], n[start:]
    kept, unsteady = months_kept(since, size, np.zeros(len(size), dtype=np.int64))
    if not kept.all() or unsteady.any():
        return None
    first, last = rows.row(start, named=True), rows.row(-1, named=True)
    total, exams = int(since.sum()), int(size.sum())
    lower, upper = wilson_interval(total, exams)
    direction = better.get(first["measure_id"], "neither")
    is_more = total / exams > centre
    return Proposal(
        **{name: first[name] for name in (*SERIES_KEY, "baseline_id")},
        from_month=first["month"],
        to_month=last["month"],
        n_months=len(size),
        old_centre=centre,
        n_events=total,
        n=exams,
        lower=float(lower),
        upper=float(upper),
        evidence=evidence,
        is_better=None if direction == "neither" else is_more == (direction == "higher"),
    )


def _best_start(events: NDArray, n: NDArray, *, centre: float, base: int) -> tuple[int, float]:
    """Place from which another share fits best, of those with months enough, and its evidence."""
    if len(n) < LEAST_MONTHS or not 0 < centre < 1:
        return 0, 0.0
    total = np.cumsum(events[::-1])[::-1][: len(n) - LEAST_MONTHS + 1].astype(np.float64)
    size = np.cumsum(n[::-1])[::-1][: len(n) - LEAST_MONTHS + 1].astype(np.float64)
    share = np.clip(total / size, 1e-9, 1 - 1e-9)
    ratio = total * np.log(share / centre) + (size - total) * np.log((1 - share) / (1 - centre))
    evidence = 2 * ratio / estimation_factor(size, base) ** 2
    start = int(np.argmax(evidence))
    return start, float(evidence[start])
