"""Small frames for charts: one line per series, one number per month."""

from collections.abc import Sequence
from datetime import UTC, date, datetime

import polars as pl

from qa.model.definitions import Measure, Settings
from qa.model.months import add_months
from qa.model.schemas import BASELINES, MEASURE_VALUES
from qa.stats.intervals import wilson_interval

FIRST = date(2025, 1, 1)
SET_AT = datetime(2026, 11, 2, tzinfo=UTC)
SETTINGS = Settings(baseline_months=3, baseline_min_exams=100, min_exams_shown=5)


def month(number: int) -> date:
    """Month by its number; 1 is January 2025."""
    return add_months(FIRST, number - 1)


def make_measure(better: str = "lower", **changes) -> Measure:
    facts = {
        "id": "MSR-001",
        "key": "unreliable",
        "version": 1,
        "title": "Unreliable exams",
        "short_title": "Unreliable",
        "event": "unreliable exams",
        "why": "the spread is too wide",
        "numerator": ("n_unreliable",),
        "denominator": ("n_judged",),
        "unit": "share",
        "better": better,
        "chart": "p",
        "units": ("site", "operator"),
        "is_watched": True,
        "min_n": 10,
        "cause": "spread within exams grew",
        "step": "steadiness and breath hold",
        "source": "invented for tests",
        "confidence": "proposal of this tool",
    }
    return Measure(**(facts | changes))


def make_series(
    counts: Sequence[tuple[int, int]],
    *,
    unit: str = "operator:op-1",
    site: str | None = "eider",
    measure_id: str = "MSR-001",
    criteria_id: str = "plain.v1",
    first: int = 1,
) -> pl.DataFrame:
    """MEASURE_VALUES of one series: (events, exams) of month `first` and those after it."""
    kind, unit_id = unit.split(":")
    frame = pl.DataFrame(
        {
            "month": [month(first + place) for place in range(len(counts))],
            "n_events": [events for events, _ in counts],
            "n": [n for _, n in counts],
        },
        schema={"month": pl.Date, "n_events": pl.Int64, "n": pl.Int64},
    )
    lower, upper = wilson_interval(frame["n_events"].to_numpy(), frame["n"].to_numpy())
    return MEASURE_VALUES.conform(
        frame.with_columns(
            unit_kind=pl.lit(kind),
            unit_id=pl.lit(unit_id),
            site_id=pl.lit(site, dtype=pl.String),
            measure_id=pl.lit(measure_id),
            criteria_id=pl.lit(criteria_id),
            value=pl.when(pl.col("n") > 0).then(pl.col("n_events") / pl.col("n")),
            lower=pl.Series(lower, dtype=pl.Float64).fill_nan(None),
            upper=pl.Series(upper, dtype=pl.Float64).fill_nan(None),
        )
    )


def make_baseline(
    n_events: int,
    n: int,
    *,
    unit: str = "operator:op-1",
    measure_id: str = "MSR-001",
    criteria_id: str = "plain.v1",
    to: int = 3,
) -> pl.DataFrame:
    """One row of BASELINES from month 1 to month `to`."""
    kind, unit_id = unit.split(":")
    row = {
        "baseline_id": f"{kind}.{unit_id}.{measure_id}.{criteria_id}.{month(to):%Y-%m}",
        "unit_kind": kind,
        "unit_id": unit_id,
        "measure_id": measure_id,
        "criteria_id": criteria_id,
        "from_month": month(1),
        "to_month": month(to),
        "n_months": to,
        "n_events": n_events,
        "n": n,
        "centre": n_events / n,
        "set_by": "R. Vane",
        "reason": "invented for tests",
        "set_at": SET_AT,
    }
    return BASELINES.conform(pl.DataFrame([row]))
