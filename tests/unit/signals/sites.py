"""Small invented sites as MONTHLY_COUNTS: operators × devices × months, with planted steps."""

from collections.abc import Callable, Mapping

import numpy as np
import polars as pl

from qa.charts.baseline import freeze_baselines
from qa.charts.control import chart_points
from qa.measures import measure_values
from qa.model.definitions import Settings
from qa.model.schemas import BASELINES, COUNT_COLUMNS, FUNNEL_POINTS, MONTHLY_COUNTS
from qa.signals import find_signals
from tests.unit.charts.frames import SET_AT, make_measure, month

SETTINGS = Settings(baseline_months=12, baseline_min_exams=100)
MONTHS = 24
CHANGE = 15
"""Number of the month in which what is planted begins; months 1 to 12 are the baseline."""

MEASURES = [
    make_measure(id="MSR-001", key="unreliable", numerator=("n_unreliable",)),
    make_measure(id="MSR-002", key="incomplete", numerator=("n_incomplete",)),
    make_measure(id="MSR-006", key="repeats", numerator=("n_repeats",)),
    make_measure(
        id="MSR-008",
        key="preparation_kept",
        better="higher",
        numerator=("n_preparation_kept",),
        denominator=("n_preparation_recorded",),
    ),
]
RATES = {
    "n_unreliable": 0.05,
    "n_incomplete": 0.03,
    "n_repeats": 0.03,
    "n_preparation_breach": 0.02,
}
Extra = Callable[[str, str, int], float]


def count_site(
    rng: np.random.Generator,
    people: Mapping[str, str],
    devices: Mapping[str, str],
    *,
    n: int = 20,
    extra: Mapping[str, Extra],
) -> pl.DataFrame:
    """MONTHLY_COUNTS: n exams a month of each operator on each device of the site.

    Args:
        people, devices: operator, device → site.
        extra: count column → what is added to its rate for (operator, device, month number).
    """
    rows = []
    for number in range(1, MONTHS + 1):
        for person, site in people.items():
            for device in (one for one, home in devices.items() if home == site):
                row = {"site_id": site, "operator_id": person, "device_id": device, "n": n}
                row |= {"month": month(number), "number": number}
                for column, rate in RATES.items():
                    added = extra.get(column, lambda *_: 0.0)(person, device, number)
                    row[column] = int(rng.binomial(n, rate + added))
                rows.append(row)
    frame = pl.DataFrame(rows)
    zeros = [pl.lit(0).alias(one.name) for one in COUNT_COLUMNS if one.name not in frame.columns]
    known = frame.with_columns(
        *zeros, probe=pl.lit("standard"), technique=pl.lit("TE"), criteria_id=pl.lit("plain.v1")
    )
    n_exams = pl.col("n")
    return MONTHLY_COUNTS.conform(
        known.with_columns(
            n_exams=n_exams,
            n_performed=n_exams,
            n_judged=n_exams,
            n_first_pass_judged=n_exams,
            n_preparation_recorded=n_exams,
            n_preparation_kept=n_exams - pl.col("n_preparation_breach"),
        )
    )


def list_signals(counts: pl.DataFrame, people: Mapping[str, str]) -> pl.DataFrame:
    """SIGNALS of all months, from counts to words."""
    sites = {site: site for site in people.values()}
    homes = {"network": {}, "site": sites, "operator": dict(people)}
    values = pl.concat(
        measure_values(counts, measures=MEASURES, unit_kind=kind, home_sites=home)
        for kind, home in homes.items()
    )
    baselines = freeze_baselines(
        values,
        existing=BASELINES.empty(),
        measures=MEASURES,
        settings=SETTINGS,
        set_at=SET_AT,
        set_by="test",
    )
    points = chart_points(values, baselines=baselines, measures=MEASURES, settings=SETTINGS)
    return find_signals(
        points,
        FUNNEL_POINTS.empty(),
        measures=MEASURES,
        names={},
        operator_sites=people,
        settings=SETTINGS,
        counts=counts,
    )


def last_items(signals: pl.DataFrame) -> list[tuple[str, str]]:
    """(unit, measure) of what stands for itself in the last month, most at stake first."""
    last = signals.filter((pl.col("month") == month(MONTHS)) & (pl.col("rank") > 0)).sort("rank")
    return last.select("unit_id", "measure_id").rows()
